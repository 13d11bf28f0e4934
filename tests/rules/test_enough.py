"""How many passes are enough, against the published sample sizes."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from harness.rules.enough import from_history, from_pilot, is_wide, two_stage_half_width

PILOT = [100.0, 101.0, 99.0, 100.5, 99.5]


def test_stein_takes_as_many_as_the_pilot_s_spread_asks_for() -> None:
    # By hand: sd sqrt(2.5 / 4) = 0.7906 %, t(4) = 2.776; (2.776 x 0.7906 / 0.8)^2 = 7.53.
    found = from_pilot(PILOT, half_width=0.008, keep=5, at_most=20)
    assert found.passes == 8
    assert found.sd == pytest.approx(math.sqrt(2.5 / 4) / 100, rel=1e-12)
    assert found.reason == "8 passes for ± 0.8 %, by a spread of 0.79 % over a pilot of 5 passes"


def test_a_pilot_that_is_enough_asks_for_no_more() -> None:
    assert from_pilot(PILOT, half_width=0.05, keep=5, at_most=20).passes == 5


def test_never_more_than_at_most_and_the_reason_says_what_would_be_needed() -> None:
    found = from_pilot(PILOT, half_width=0.004, keep=5, at_most=12)
    assert (found.passes, found.needed) == (12, 31)
    assert found.reason.endswith("; 31 would be needed, and at_most is 12")


@pytest.mark.parametrize("pilot", [[], [100.0], [0.0, 0.0], [-1.0, -2.0]])
def test_a_pilot_without_a_relative_spread_asks_for_keep(pilot: list[float]) -> None:
    found = from_pilot(pilot, half_width=0.01, keep=3, at_most=9)
    assert (found.passes, found.sd) == (3, None)
    assert two_stage_half_width(pilot, 9, mean=1.0) is None


def test_history_without_spread_asks_for_keep() -> None:
    for sd, df in ((None, 0), (0.02, 3)):
        found = from_history(sd, df=df, half_width=0.01, keep=4, at_most=9)
        assert found.passes == 4
        assert "do not tell the spread" in found.reason


def test_with_a_spread_that_is_known_history_comes_near_the_handbooks_formula() -> None:
    # NIST/SEMATECH e-Handbook 7.2.2.2: n from z, then again with t of n - 1; here two-sided for
    # an interval, d = sd / 2: z gives 15.4, t gives 17.8 (n = 18), which holds half of the time.
    found = from_history(0.01, df=100_000, half_width=0.005, keep=2, at_most=100)
    with_t = next(n for n in range(2, 99) if stats.t.ppf(0.975, n - 1) / math.sqrt(n) <= 0.5)
    assert with_t == 18
    chance = float(
        stats.chi2.cdf(
            (0.5 / stats.t.ppf(0.975, found.passes - 1)) ** 2 * found.passes * (found.passes - 1),
            found.passes - 1,
        )
    )
    assert found.passes > with_t
    assert chance >= 0.8


@settings(deadline=None, max_examples=40)
@given(
    sd=st.floats(0.001, 0.05),
    df=st.integers(4, 200),
    half=st.floats(0.002, 0.05),
    keep=st.integers(2, 6),
)
def test_history_takes_the_fewest_that_hold_four_times_in_five(
    sd: float, df: int, half: float, keep: int
) -> None:
    found = from_history(sd, df=df, half_width=half, keep=keep, at_most=1000)
    if found.needed is None:
        return

    def chance(n: int) -> float:
        allowed = half / float(stats.t.ppf(0.975, n - 1)) * math.sqrt(n) / sd
        return float(stats.f.cdf(allowed**2, n - 1, df))

    assert chance(found.passes) >= 0.8 - 1e-6
    assert found.passes == keep or chance(found.passes - 1) <= 0.8 + 1e-6


@given(pilot=st.lists(st.floats(90.0, 110.0), min_size=2, max_size=9), half=st.floats(0.003, 0.1))
def test_a_cell_of_two_stages_ends_within_what_was_wanted_unless_capped(
    pilot: list[float], half: float
) -> None:
    found = from_pilot(pilot, half_width=half, keep=len(pilot), at_most=50)
    values = [*pilot, *[97.0] * (found.passes - len(pilot))]
    mean = sum(values) / len(values)
    reached = two_stage_half_width(pilot, found.passes, mean=mean)
    assert found.needed is not None
    assert is_wide(mean, reached, half_width=half) == (found.needed > 50)


def test_the_interval_of_two_stages_has_the_pilots_spread_and_degrees_of_freedom() -> None:
    # By hand, with t(97.5 %; 4) = 2.7764 of the tables: 2.7764 x 0.79057 % x 100 / sqrt 16.
    reached = two_stage_half_width(PILOT, 16, mean=100.0)
    assert reached == pytest.approx(2.7764 * 0.79057 / 4, rel=1e-4)


def test_a_single_pass_is_wide() -> None:
    assert is_wide(100.0, None, half_width=0.5)
    assert is_wide(100.0, float("nan"), half_width=0.5)
