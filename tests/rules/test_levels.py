"""Two levels are told from outliers and from noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rules.levels import MOST, least_size, two_levels

# Mean frame times in ms of a title that runs at one of two clocks; our own table.
TWO_CLUSTERS = [8.31, 8.92, 8.30, 8.94, 8.33, 8.91]


def test_two_clusters_are_two_levels() -> None:
    found = two_levels([1000 / ms for ms in TWO_CLUSTERS], alpha=0.01, floor=0.005)
    assert found is not None
    assert (found.low, found.high) == ((1, 3, 5), (0, 2, 4))
    assert found.at == pytest.approx((112.07, 120.29), abs=0.01)


def test_a_lone_pass_far_out_is_an_outlier_and_no_level() -> None:
    assert two_levels([100.0, 100.1, 99.9, 100.2, 90.0], alpha=0.10, floor=0.005) is None


def test_the_quotient_is_that_of_squares_between_and_within() -> None:
    # By hand: means 1.5 and 11.5; between 4 (5)^2 = 100, within 4 (0.5)^2 = 1.
    found = two_levels([1.0, 2.0, 11.0, 12.0], alpha=0.10, floor=0.0)
    assert found is not None
    assert found.statistic == pytest.approx(100.0, rel=1e-12)


def test_levels_without_any_spread_have_a_finite_statistic() -> None:
    found = two_levels([60.0, 60.0, 62.0, 62.0], alpha=0.01, floor=0.005)
    assert found is not None
    assert found.statistic == MOST


def test_levels_nearer_than_the_floor_are_one() -> None:
    assert two_levels([100.0, 100.0, 100.4, 100.4], alpha=0.05, floor=0.005) is None


@pytest.mark.parametrize("values", [[], [1.0], [1.0, 2.0, 2.0], [5.0] * 8])
def test_too_few_or_equal_values_have_one_level(values: list[float]) -> None:
    assert two_levels(values, alpha=0.05, floor=0.0) is None


@pytest.mark.parametrize(("n", "least"), [(4, 2), (5, 2), (8, 2), (9, 3), (12, 3), (20, 5)])
def test_a_level_has_two_passes_and_a_quarter_of_all(n: int, least: int) -> None:
    assert least_size(n) == least


@given(values=st.lists(st.integers(0, 300).map(lambda n: 100 + n / 10), min_size=4, max_size=14))
def test_the_split_is_the_best_of_all_that_are_allowed(values: list[float]) -> None:
    found = two_levels(values, alpha=0.10, floor=0.0)
    ordered = np.sort(values)
    least = least_size(len(values))
    splits = range(least, len(values) - least + 1)
    within = [ordered[:k].var() * k + ordered[k:].var() * (len(values) - k) for k in splits]
    if found is not None and found.statistic < 1e6:
        best = float(np.var(values) * len(values) - min(within)) / float(min(within))
        assert found.statistic == pytest.approx(best, rel=1e-6)
        assert max(values[place] for place in found.low) <= min(values[p] for p in found.high)
