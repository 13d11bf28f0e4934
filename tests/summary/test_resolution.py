"""The spread of passes, and how many of them resolve a band."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.summary.resolution import (
    MOST_PASSES,
    half_width,
    passes_to_resolve,
    pooled_spread,
)

SPREADS = st.floats(1e-4, 0.3)
BANDS = st.floats(1e-3, 0.5)


@given(SPREADS, st.integers(2, 200))
def test_the_interval_is_that_of_welch_for_two_equal_cells(sd: float, passes: int) -> None:
    # The reference is scipy.stats: Welch's test of two samples with this very spread.
    half = np.tile([1.0, -1.0], passes)[:passes]
    sample = (half - half.mean()) / half.std(ddof=1) * sd
    interval = stats.ttest_ind(sample, sample, equal_var=False).confidence_interval(0.95)

    assert half_width(sd, passes) == pytest.approx((interval.high - interval.low) / 2, rel=1e-9)


@given(SPREADS, BANDS)
def test_so_many_passes_resolve_the_band_and_one_fewer_does_not(sd: float, band: float) -> None:
    needed = passes_to_resolve(sd, band)

    if needed is None:
        assert half_width(sd, MOST_PASSES) > math.log1p(band)
    else:
        assert half_width(sd, needed) <= math.log1p(band)
        assert needed == 2 or half_width(sd, needed - 1) > math.log1p(band)


def test_one_pass_resolves_nothing() -> None:
    assert half_width(0.01, 1) == math.inf


def test_no_number_of_passes_resolves_a_band_of_nothing() -> None:
    assert passes_to_resolve(0.01, 0.0) is None


def test_the_spread_is_pooled_over_cells_about_their_own_means() -> None:
    # NIST/SEMATECH e-Handbook 7.3.1: s^2 = sum of (n - 1) s_i^2 over the sum of (n - 1).
    slow, fast = [100.0, 102.0, 99.0], [300.0, 303.0]
    spread = pooled_spread([slow, fast, [50.0]])
    assert spread is not None

    squares = 2 * np.var(np.log(slow), ddof=1) + np.var(np.log(fast), ddof=1)
    assert spread.sd == pytest.approx(math.sqrt(squares / 3), rel=1e-12)
    assert (spread.df, spread.passes, spread.cells) == (3, 5, 2)


def test_single_passes_have_no_spread() -> None:
    assert pooled_spread([[100.0], [200.0], []]) is None


def test_a_figure_that_may_be_zero_has_no_relative_spread() -> None:
    assert pooled_spread([[0.0, 1.0], [-1.0, 2.0]]) is None
