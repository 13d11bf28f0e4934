from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from harness.summary.evidence import Spread, Unit, bartlett, pairs, pool, two_samples
from harness.summary.margins import interval

logs = st.lists(st.floats(3.0, 6.0), min_size=2, max_size=8)


def with_mean_and_sd(n: int, mean: float, sd: float) -> list[float]:
    """Return n values whose mean and sample standard deviation are exactly these."""
    raw = np.linspace(-1.0, 1.0, n)
    return list(mean + sd * (raw - raw.mean()) / raw.std(ddof=1))


def test_welch_gives_the_handbooks_figures() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.3, data AUTO83B in summary form; the Welch line from the
    # worked example of Boost.Math: T = -12.94627, 136.87499 degrees of freedom.
    first = with_mean_and_sd(249, 20.14458, 6.41470)
    second = with_mean_and_sd(79, 30.48101, 6.10771)

    found = two_samples(second, first)

    assert found.se is not None
    assert found.log_ratio / found.se == pytest.approx(-12.94627, abs=5e-6)
    assert found.df == pytest.approx(136.87499, abs=5e-4)
    # Computed from the definition, no published figure.
    assert interval(found, confidence=0.95) == pytest.approx((-11.915243781, -8.757616219))


@settings(deadline=None, max_examples=60)
@given(base=logs, against=logs)
def test_two_samples_are_scipys_welch_test(base: list[float], against: list[float]) -> None:
    if np.var(base) < 1e-9 or np.var(against) < 1e-9:
        return
    theirs = stats.ttest_ind(against, base, equal_var=False)
    ours = two_samples(base, against)

    assert ours.df == pytest.approx(theirs.df, rel=1e-9)
    low, high = theirs.confidence_interval(0.95)
    assert interval(ours, confidence=0.95) == pytest.approx((low, high), rel=1e-7, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.floats(3.0, 6.0), st.floats(3.0, 6.0)), min_size=2, max_size=9))
def test_pairs_are_scipys_paired_test(both: list[tuple[float, float]]) -> None:
    base, against = (list(side) for side in zip(*both, strict=True))
    if np.var(np.subtract(against, base)) < 1e-9:
        return
    theirs = stats.ttest_rel(against, base).confidence_interval(0.95)

    assert interval(pairs(base, against), confidence=0.95) == pytest.approx(
        (theirs.low, theirs.high), rel=1e-7, abs=1e-9
    )


def test_one_value_a_side_has_no_standard_error() -> None:
    found = two_samples([4.0], [4.1, 4.2])

    assert (found.se, found.df, found.n) == (None, 0.0, (1, 2))


def test_values_without_any_spread_have_a_standard_error_of_zero() -> None:
    assert two_samples([4.0, 4.0], [4.1, 4.1]).se == 0.0


@settings(deadline=None, max_examples=60)
@given(st.lists(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=9), min_size=2, max_size=6))
def test_the_test_of_equal_spreads_is_scipys(samples: list[list[float]]) -> None:
    if min(np.var(each) for each in samples) < 1e-6:
        return
    spreads = [
        Spread(variance=float(np.var(each, ddof=1)), df=len(each) - 1, n=len(each))
        for each in samples
    ]

    # Its own p-value is nan where rounding leaves a statistic of equal spreads below 0.
    statistic = stats.bartlett(*samples).statistic
    theirs = stats.chi2.sf(statistic, len(samples) - 1)

    assert bartlett(spreads) == pytest.approx(theirs, rel=1e-6, abs=1e-12)


def test_a_sample_without_spread_cannot_be_tested_nor_pooled() -> None:
    still = two_samples([4.0, 4.0], [4.1, 4.1])
    other = two_samples([4.0, 4.01], [4.1, 4.12])

    assert pool([still, other]) == (still, other)


def test_pooled_rows_have_the_variance_and_the_degrees_of_all_their_samples() -> None:
    rows = [two_samples([0.0, 2.0], [1.0, 3.0]), two_samples([5.0, 7.0], [5.0, 8.0])]

    first, second = pool(rows)

    # By hand: variances 2, 2, 2 and 4.5, one degree each: 10.5 / 4.
    assert first.se == pytest.approx(math.sqrt(10.5 / 4 * (1 / 2 + 1 / 2)))
    assert (first.df, first.pooled_over, second.se) == (4.0, 4, first.se)


def test_rows_of_spreads_that_differ_keep_their_own() -> None:
    quiet = two_samples([0.0, 0.01, 0.02, 0.01], [0.0, 0.01, 0.02, 0.01])
    noisy = two_samples([0.0, 1.0, 2.0, 1.0], [0.0, 1.0, 2.0, 1.0])

    assert pool([quiet, noisy]) == (quiet, noisy)


def test_a_row_that_is_noisier_than_the_others_keeps_its_own_spread() -> None:
    quiet = two_samples([0.0, 1.0, 2.0], [5.0, 6.0, 7.0])
    noisy = two_samples([0.0, 1.5, 3.0], [5.0, 6.5, 8.0])
    # scipy: Bartlett's p = 0.97 over all six samples, F = 2.25 with 4 and 8 degrees: p = 0.153.
    samples = [[0.0, 1.0, 2.0]] * 4 + [[0.0, 1.5, 3.0]] * 2
    assert stats.bartlett(*samples).pvalue > 0.5
    assert stats.f.sf(2.25, 4, 8) < 0.3

    found = pool([quiet, quiet, noisy])

    assert [each.pooled_over for each in found] == [6, 6, 0]
    assert found[2] == noisy


def test_where_the_first_passes_fixed_the_number_their_spread_stands_for_all() -> None:
    base, against = [1.0, 3.0, 2.0, 2.0], [5.0, 7.0, 6.0, 1.0, 11.0]
    found = two_samples(base, against, pilots=(base[:2], against[:3]))

    # By hand: variances 2 and 1 of the pilots, over 4 and 5 values; the fewer degrees.
    assert found.log_ratio == pytest.approx(4.0)
    assert found.se == pytest.approx(math.sqrt(2.0 / 4 + 1.0 / 5))
    assert (found.df, found.n) == (1.0, (4, 5))


def test_a_pilot_of_one_value_tells_no_spread_and_is_not_taken() -> None:
    base, against = [1.0, 3.0, 2.0], [5.0, 7.0, 6.0]
    assert two_samples(base, against, pilots=(base[:1], ())) == two_samples(base, against)


def test_pairs_and_two_samples_are_never_pooled_with_each_other() -> None:
    one = pairs([0.0, 1.0, 2.0], [0.5, 1.7, 2.4])
    other = two_samples([0.0, 1.0, 2.5], [0.0, 1.0, 2.0])

    found = pool([one, other])

    assert found[0] == one  # it is alone of its kind
    assert found[1].unit is Unit.PASS
    assert found[1].pooled_over == 2


@settings(deadline=None, max_examples=60)
@given(base=logs, against=logs)
def test_swapping_the_sides_turns_the_sign_alone(base: list[float], against: list[float]) -> None:
    one, other = two_samples(base, against), two_samples(against, base)

    assert one.log_ratio == -other.log_ratio
    assert (one.se, one.df) == pytest.approx((other.se, other.df))


@settings(deadline=None, max_examples=60)
@given(base=logs, against=logs, factor=st.floats(0.001, 1000.0))
def test_another_unit_of_the_figure_changes_nothing(
    base: list[float], against: list[float], factor: float
) -> None:
    moved = [[each + math.log(factor) for each in side] for side in (base, against)]
    one, other = two_samples(base, against), two_samples(moved[0], moved[1])

    assert other.log_ratio == pytest.approx(one.log_ratio, abs=1e-12)
    assert other.se == pytest.approx(one.se, abs=1e-12)


@given(st.floats(0.1, 1e6), st.integers(2, 30))
def test_equal_values_have_no_spread_however_their_sum_is_rounded(value: float, n: int) -> None:
    logs = [math.log(value)] * n

    assert two_samples(logs, logs).se == 0.0
