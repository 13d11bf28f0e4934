"""The outlier rules against the handbook's worked example and the printed tables."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.plan.document import Side
from harness.rules.outliers import esd, from_others, grubbs, grubbs_critical, median, spread

# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1: isotope ratios of uranium, data
# of Tietjen and Moore (1972).
URANIUM = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]

# Two-sided critical values of G: (5 %, 1 %). Closed form of the same page; to the printed
# digits those of ISO 5725-2, table 5 (from memory of the standard).
CRITICAL = {
    3: (1.1543, 1.1547),
    4: (1.4813, 1.4963),
    5: (1.7150, 1.7637),
    6: (1.8871, 1.9728),
    7: (2.0200, 2.1391),
    8: (2.1266, 2.2744),
    9: (2.2150, 2.3868),
    10: (2.2900, 2.4821),
    11: (2.3547, 2.5641),
    12: (2.4116, 2.6357),
    13: (2.4620, 2.6990),
    14: (2.5073, 2.7554),
    15: (2.5483, 2.8061),
    20: (2.7082, 3.0008),
    25: (2.8217, 3.1353),
    30: (2.9085, 3.2361),
}

# One-sided critical values: (5 %, 1 %). ASTM E178, table 1 (from memory of the standard; the 5 %
# column also in the e-Handbook, whose example prints 2.032 for n = 8).
ONE_SIDED = {
    3: (1.1531, 1.1546),
    5: (1.6714, 1.7489),
    6: (1.8221, 1.9442),
    8: (2.0317, 2.2208),
    10: (2.1761, 2.4097),
    15: (2.4090, 2.7049),
    20: (2.5566, 2.8838),
    30: (2.7451, 3.1029),
}

# NIST/SEMATECH e-Handbook 1.3.5.17.3: data of Rosner, Technometrics 25 (1983) 165-172, 54 values.
ROSNER = [
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip

rates = st.floats(10.0, 500.0)
several = st.lists(rates, min_size=3, max_size=12)


def test_grubbs_finds_the_handbooks_outlier() -> None:
    found = grubbs(URANIUM, alpha=0.05, floor=0.0)
    assert found is not None
    assert found.places == (7,)
    # The page prints G = 2.4687 (cut off, not rounded); full digits computed from its data.
    assert found.statistic == pytest.approx(2.468764611, abs=1e-9)
    # Two-sided; the page's 2.032 is the one-sided value.
    assert found.critical == pytest.approx(2.126645087, abs=1e-9)


@pytest.mark.parametrize(("n", "five", "one"), [(n, *v) for n, v in CRITICAL.items()])
def test_critical_values_are_those_of_the_tables(n: int, five: float, one: float) -> None:
    assert grubbs_critical(n, alpha=0.05) == pytest.approx(five, abs=5.01e-5)
    assert grubbs_critical(n, alpha=0.01) == pytest.approx(one, abs=5.01e-5)


@given(n=st.integers(3, 200), alpha=st.floats(0.001, 0.2))
def test_critical_values_agree_with_scipys_quantiles(n: int, alpha: float) -> None:
    t = float(stats.t.isf(alpha / (2 * n), n - 2))
    wanted = (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))
    assert grubbs_critical(n, alpha=alpha) == pytest.approx(wanted, rel=1e-11)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_grubbs_needs_three_values(n: int) -> None:
    with pytest.raises(ValueError, match="at least 3 values"):
        grubbs_critical(n, alpha=0.05)


def test_the_largest_possible_statistic_is_found_and_no_larger() -> None:
    # (n - 1) / sqrt(n): what makes a rule of three standard deviations useless up to n = 10.
    found = grubbs([10.0, 10.0, 10.0, 10.0, 10.0, 20.0], alpha=0.05, floor=0.0)
    assert found is not None
    assert found.statistic == pytest.approx(5 / math.sqrt(6), rel=1e-12)


def test_two_of_three_equal_values_reject_the_third_which_is_why_three_never_discard() -> None:
    found = grubbs([10.0, 10.0, 20.0], alpha=0.05, floor=0.0)
    assert found is not None
    assert found.statistic == pytest.approx(1.1547005383792515, rel=1e-12)


def test_nothing_stands_out_where_all_are_equal() -> None:
    assert grubbs([7.0] * 6, alpha=0.05, floor=0.0) is None
    assert spread([7.0] * 6, more_than=0.0) is None


def test_a_floor_keeps_a_value_that_differs_by_less() -> None:
    values = [100.0, 100.0, 100.0, 100.0, 100.0, 100.4]
    assert grubbs(values, alpha=0.05, floor=0.0) is not None
    assert grubbs(values, alpha=0.05, floor=0.005) is None


def test_values_equally_far_out_are_a_tie() -> None:
    found = grubbs([100.0] * 10 + [90.0, 110.0], alpha=0.2, floor=0.0)
    assert found is not None
    assert found.places == (10, 11)


def test_a_spread_rule_counts_from_the_median_of_the_others() -> None:
    # By hand: the others of 90 are 99, 100, 101, 102: median 100.5; 10.5 / 100.5.
    found = spread([99.0, 90.0, 102.0, 100.0, 101.0], more_than=0.03)
    assert found is not None
    assert found.places == (1,)
    assert found.statistic == pytest.approx(10.5 / 100.5, rel=1e-15)


def test_a_distance_of_exactly_the_bound_is_not_more() -> None:
    assert spread([100.0, 100.0, 104.0], more_than=0.04) is None


def test_a_median_of_zero_has_no_shares() -> None:
    assert spread([0.0, 0.0, 0.0, 5.0], more_than=0.03) is None
    assert from_others([0.0, 0.0, 5.0], 2) is None


def test_shares_are_of_the_size_of_a_negative_median() -> None:
    assert from_others([-10.0, -10.0, -8.0], 2) == pytest.approx(0.2)


@given(values=st.lists(rates, min_size=1, max_size=30))
def test_the_median_is_that_of_the_standard_library(values: list[float]) -> None:
    assert median(values) == pytest.approx(statistics.median(values), rel=1e-15)


@given(values=several, factor=st.floats(0.1, 10.0))
def test_the_unit_of_the_values_changes_nothing(values: list[float], factor: float) -> None:
    scaled_up = [factor * value for value in values]
    for plain, scaled in (
        (spread(values, more_than=0.03), spread(scaled_up, more_than=0.03)),
        (
            grubbs(values, alpha=0.05, floor=0.005),
            grubbs(scaled_up, alpha=0.05, floor=0.005),
        ),
    ):
        if plain is not None and scaled is not None:  # on the very edge rounding may decide
            assert scaled.statistic == pytest.approx(plain.statistic, rel=1e-6)


@given(values=several)
def test_grubbs_rejects_what_scipys_p_value_rejects(values: list[float]) -> None:
    # The Bonferroni bound of the same test: n times the two-sided tail of the largest
    # studentised deviation.
    n, sd = len(values), statistics.stdev(values)
    if sd < 1e-6:
        return
    g = max(abs(value - statistics.fmean(values)) for value in values) / sd
    room = (n - 1) ** 2 / n - g * g
    if room < 1e-9:
        return
    t = g * math.sqrt(n * (n - 2) / (n * room))
    p = n * 2.0 * float(stats.t.sf(t, n - 2))
    if abs(p - 0.05) > 1e-6:
        assert (grubbs(values, alpha=0.05, floor=0.0) is not None) == (p < 0.05)


@pytest.mark.parametrize(("n", "five", "one"), [(n, *v) for n, v in ONE_SIDED.items()])
def test_one_sided_critical_values_are_those_of_the_tables(n: int, five: float, one: float) -> None:
    assert grubbs_critical(n, alpha=0.05, sides=1) == pytest.approx(five, abs=5.01e-5)
    assert grubbs_critical(n, alpha=0.01, sides=1) == pytest.approx(one, abs=5.01e-5)


def test_the_one_sided_test_of_the_handbook_looks_at_one_side_only() -> None:
    high = grubbs(URANIUM, alpha=0.05, floor=0.0, side=Side.HIGH)
    assert high is not None
    assert high.places == (7,)
    assert high.critical == pytest.approx(2.031652002, abs=1e-8)  # printed 2.032
    assert grubbs(URANIUM, alpha=0.05, floor=0.0, side=Side.LOW) is None


def test_rosners_three_outliers_are_found_though_the_first_two_tests_fail() -> None:
    found = esd(ROSNER, alpha=0.05, most=10, floor=0.0)
    assert [ROSNER[each.places[0]] for each in found] == [6.01, 5.42, 5.34]
    # The handbook prints them cut off: R 3.118, 2.942, 3.179; lambda 3.158, 3.151, 3.143.
    printed = [(3.118, 3.158), (2.942, 3.151), (3.179, 3.143)]
    for each, (statistic, critical) in zip(found, printed, strict=True):
        assert 0 <= each.statistic - statistic < 1e-3
        assert 0 <= each.critical - critical < 1e-3


def test_a_limit_of_two_outliers_finds_none_of_rosners_three() -> None:
    assert esd(ROSNER, alpha=0.05, most=2, floor=0.0) == ()


def test_two_outliers_that_mask_each_other_are_found_together() -> None:
    values = [100.0, 100.4, 99.7, 100.1, 99.9, 100.2, 99.8, 100.3, 99.6, 91.0, 90.0]
    assert grubbs(values, alpha=0.01, floor=0.0) is None
    found = esd(values, alpha=0.01, most=2, floor=0.005)
    assert [each.places for each in found] == [(10,), (9,)]


def test_a_tie_with_the_last_outlier_singles_neither_out() -> None:
    values = [*[100.0, 100.1] * 10, 90.05, 110.05]
    (found,) = esd(values, alpha=0.05, most=1, floor=0.0)
    assert found.places == (20, 21)


@given(values=several, floor=st.sampled_from([0.0, 0.005]))
def test_one_outlier_of_the_many_is_that_of_grubbs(values: list[float], floor: float) -> None:
    if len(values) < 4:
        return
    alone = grubbs(values, alpha=0.05, floor=floor)
    many = esd(values, alpha=0.05, most=1, floor=floor)
    assert (alone is None) == (not many)
    if alone is not None:
        assert many[0].places == alone.places
        assert many[0].statistic == pytest.approx(alone.statistic, rel=1e-12)
