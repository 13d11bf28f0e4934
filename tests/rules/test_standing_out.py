"""Values at some places against those at others, held against scipy and by what was put in."""

from __future__ import annotations

import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.rules.standing_out import at_least, beyond, error_of_mean, reach


@given(count=st.integers(0, 40), of=st.integers(0, 40), chance=st.floats(0.001, 0.999))
def test_the_binomial_tail_is_that_of_scipy(count: int, of: int, chance: float) -> None:
    expected = stats.binom.sf(count - 1, of, chance)
    assert at_least(count, of=of, chance=chance) == pytest.approx(expected, abs=1e-9)


@given(count=st.integers(0, 5000), of=st.integers(1, 5000), chance=st.floats(1e-5, 0.999))
def test_the_binomial_tail_of_a_long_pass_is_that_of_scipy(
    count: int, of: int, chance: float
) -> None:
    expected = stats.binom.sf(count - 1, of, chance)
    assert at_least(count, of=of, chance=chance) == pytest.approx(expected, abs=1e-9)


def test_a_long_pass_in_which_every_seventh_look_costs_much_is_counted_whole() -> None:
    chance = random.Random(1)
    own = [chance.gauss(0.1, 0.05) + 3.0 * (number % 7 == 0) for number in range(2184)]
    found = beyond(own, [chance.gauss(0.0, 0.05) for _ in range(20_000)])
    assert found.whole
    assert found.mean_ms == pytest.approx(0.1 + 3.0 / 7, abs=0.02)


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=50))
def test_the_error_of_a_mean_is_that_of_scipy(values: list[float]) -> None:
    expected = float(stats.sem(values)) if len(set(values)) > 1 else 0.0
    assert error_of_mean(values) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_values_without_tails_give_the_plain_difference_of_means() -> None:
    own, others = [1.0, 2.0, 3.0], [-1.0, 0.0, 1.0] * 20
    found = beyond(own, others)
    assert found.mean_ms == pytest.approx(2.0)
    expected = stats.sem(own) ** 2 + stats.sem(others) ** 2
    assert found.error_ms == pytest.approx(expected**0.5)


@given(st.floats(-5.0, 50.0), st.integers(0, 2**32))
def test_what_is_added_to_every_value_is_found_whole(added: float, seed: int) -> None:
    chance = random.Random(seed)
    own = [chance.gauss(0.0, 1.0) for _ in range(30)]
    others = [chance.gauss(0.0, 1.0) for _ in range(300)]
    before = beyond(own, others).mean_ms
    assert beyond([each + added for each in own], others).mean_ms == pytest.approx(before + added)


def test_one_far_value_moves_the_mean_little() -> None:
    chance = random.Random(1)
    own = [chance.gauss(0.0, 1.0) for _ in range(60)]
    others = [chance.gauss(0.0, 1.0) for _ in range(900)]
    found = beyond([*own[:-1], 500.0], others)
    assert not found.whole
    assert abs(found.mean_ms - beyond(own, others).mean_ms) < 0.2


def test_more_far_values_than_chance_explains_are_counted_whole() -> None:
    own = [0.0, 0.1, -0.1] * 10 + [50.0] * 5
    found = beyond(own, [0.0, 0.1, -0.1] * 100)
    assert found.whole
    assert found.mean_ms == pytest.approx(statistics.fmean(own))


def test_the_reach_of_normal_values_is_five_standard_deviations() -> None:
    # By the quantiles of the normal distribution itself.
    values = [float(stats.norm.ppf((place + 0.5) / 2001)) for place in range(2001)]
    assert reach(values) == pytest.approx((-5.0, 5.0), rel=0.01)


def test_values_half_of_which_are_equal_are_not_cut() -> None:
    assert reach([1.0] * 6 + [2.0, 9.0]) == (1.0, 9.0)
