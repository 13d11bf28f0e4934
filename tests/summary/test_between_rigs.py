"""Repeatability and reproducibility, against the standard's worked example."""

from __future__ import annotations

import pytest

from harness.summary.between_rigs import LEAST_RIGS, between, spreads
from harness.summary.one_way import Group, group

# ISO 5725-2:1994, Annex B.1: sulphur content of coal, eight laboratories, four levels, unequal
# numbers of values (data and results from memory; all twelve results reproduce from the data).
COAL = [
    [[0.71, 0.71, 0.70, 0.71], [0.69, 0.67, 0.68], [0.66, 0.65, 0.69], [0.67, 0.65, 0.66],
     [0.70, 0.69, 0.66, 0.71, 0.69], [0.73, 0.74, 0.73], [0.71, 0.71, 0.69], [0.70, 0.65, 0.68]],
    [[1.20, 1.18, 1.23, 1.21], [1.22, 1.21, 1.22], [1.28, 1.31, 1.30], [1.23, 1.18, 1.20],
     [1.31, 1.22, 1.22, 1.24], [1.39, 1.36, 1.37], [1.20, 1.26, 1.26], [1.24, 1.22, 1.30]],
    [[1.68, 1.70, 1.68, 1.69], [1.64, 1.64, 1.65], [1.61, 1.61, 1.62], [1.68, 1.66, 1.66],
     [1.64, 1.67, 1.60, 1.66, 1.68], [1.70, 1.73, 1.73], [1.69, 1.70, 1.68], [1.67, 1.68, 1.67]],
    [[3.26, 3.26, 3.20, 3.24], [3.20, 3.20, 3.20], [3.37, 3.36, 3.38], [3.16, 3.22, 3.23],
     [3.20, 3.19, 3.18, 3.27, 3.24], [3.27, 3.31, 3.29], [3.27, 3.24, 3.23], [3.25, 3.26, 3.26]],
]  # fmt: skip
PRINTED = [(0.690, 0.015, 0.026), (1.252, 0.029, 0.061), (1.667, 0.017, 0.035),
           (3.250, 0.026, 0.058)]  # fmt: skip


def groups(values: list[list[float]]) -> list[Group]:
    return [group(each) for each in values]


@pytest.mark.parametrize("level", range(4))
def test_sulphur_in_coal_has_the_printed_mean_and_spreads(level: int) -> None:
    found = spreads(groups(COAL[level]))

    assert found is not None
    shown = (found.analysis.mean, found.sd_r, found.sd_big_r)
    assert shown == pytest.approx(PRINTED[level], abs=5.1e-4)


@pytest.mark.parametrize(("level", "n0"), [(0, 3.3545), (1, 3.24176)])
def test_unequal_numbers_of_values_count_as_the_standard_counts_them(level: int, n0: float) -> None:
    found = spreads(groups(COAL[level]))

    assert found is not None
    assert found.analysis.n0 == pytest.approx(n0, abs=5e-5)


@pytest.mark.parametrize(
    ("p", "n", "known"),
    # ISO 5725-1:1994, Table 1 (from memory): how well s_r is known from p laboratories of n values.
    [(5, 2, 0.62), (5, 3, 0.44), (10, 2, 0.44), (20, 2, 0.31)],
)
def test_how_well_repeatability_is_known_is_as_printed(p: int, n: int, known: float) -> None:
    found = spreads([Group(n=n, mean=10.0 + place, squares=float(n - 1)) for place in range(p)])

    assert found is not None
    assert found.known_r == pytest.approx(known, abs=5e-3)


def test_with_no_spread_between_rigs_reproducibility_is_known_as_printed() -> None:
    # The same table: s_R with s_R = s_r, five laboratories of two values: 0.46.
    found = spreads([Group(n=2, mean=10.0, squares=1.0)] * 5)

    assert found is not None
    assert found.sd_big_r == found.sd_r
    assert found.known_big_r == pytest.approx(0.46, abs=5e-3)


def test_a_rig_far_out_is_named_and_the_spreads_without_it_stand_beside() -> None:
    # Level 4 of the same data, a ninth laboratory added that is far from the others.
    found = between(groups([*COAL[3], [3.80, 3.81, 3.79]]))
    alone = spreads(groups(COAL[3]))

    assert found is not None
    assert found.outliers == ((8, "Grubbs"),)
    assert found.without == alone
    assert found.spreads.sd_big_r > 2.0 * found.without.sd_big_r  # type: ignore[union-attr]


def test_a_noisy_rig_is_found_by_its_spread() -> None:
    found = between(groups([*COAL[3], [3.0, 3.5, 3.25]]))

    assert found is not None
    assert found.outliers == ((8, "Cochran"),)


def test_without_its_outliers_too_few_rigs_have_no_reproducibility() -> None:
    found = between(groups([*COAL[3][3:], [4.80, 4.81, 4.79]]))

    assert found is not None
    assert [place for place, _ in found.outliers] == [5]
    assert found.without is None


def test_k_of_a_rig_with_one_value_is_not_told() -> None:
    found = between(groups([*COAL[3], [3.24]]))

    assert found is not None
    assert found.k[8] is None
    assert None not in found.k[:8]


def test_rigs_of_one_value_each_repeat_nothing() -> None:
    assert between(groups([[1.0], [2.0], [3.0], [4.0], [5.0], [6.0]])) is None


def test_fewer_rigs_than_stated_are_refused() -> None:
    with pytest.raises(ValueError, match="differences only"):
        between(groups(COAL[0][: LEAST_RIGS - 1]))


def test_beside_an_outlier_the_test_for_two_is_not_asked() -> None:
    beside = between(groups([*COAL[3], [3.80, 3.81, 3.79]]))
    alone = between(groups(COAL[3]))

    assert beside is not None
    assert alone is not None
    assert [each.name for each in beside.tests] == ["Cochran", "Grubbs"]
    assert [each.name for each in alone.tests] == ["Cochran", "Grubbs", "Grubbs for two"]
