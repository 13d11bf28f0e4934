from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.summary.families import Correction, corrected

p_values = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=30)


def test_the_example_of_benjamini_and_hochberg_rejects_four() -> None:
    # Benjamini & Hochberg (1995), section 3.2: fifteen p-values, at 5 % Bonferroni (and Holm)
    # reject three, their procedure four. From memory; the arithmetic reproduces.
    p = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
        0.5719, 0.6528, 0.7590, 1.0,
    ]  # fmt: skip

    assert sum(each <= 0.05 for each in corrected(p, by=Correction.HOLM)) == 3
    assert sum(each <= 0.05 for each in corrected(p, by=Correction.BH)) == 4


@given(p_values)
def test_the_false_discovery_rate_is_scipys(p: list[float]) -> None:
    assert corrected(p, by=Correction.BH) == pytest.approx(stats.false_discovery_control(p))


@given(p_values)
def test_holm_lies_between_no_correction_and_bonferroni(p: list[float]) -> None:
    for own, found in zip(p, corrected(p, by=Correction.HOLM), strict=True):
        assert own <= found <= min(1.0, len(p) * own) + 1e-15


@given(p_values)
def test_holm_keeps_the_order(p: list[float]) -> None:
    found = corrected(p, by=Correction.HOLM)

    ranked = sorted(range(len(p)), key=p.__getitem__)
    assert [found[n] for n in ranked] == sorted(found)


def test_none_changes_nothing() -> None:
    assert corrected([0.2, 0.1], by=Correction.NONE) == (0.2, 0.1)
