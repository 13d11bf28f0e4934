"""MSER on series whose answer is known in exact fractions. No published figures: computed by us."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rules.settling import settled_from

FIVES = [
    12.6, 12.7, 12.8, 12.9, 13.0, 5.4, 5.5, 5.6, 5.7, 5.8, 4.9, 5.0, 5.1, 5.2, 5.3, 4.7, 4.8, 4.9,
    5.0, 5.1, 4.8, 4.9, 5.0, 5.1, 5.2, 5.0, 5.1, 5.2, 5.3, 5.4, 4.6, 4.7, 4.8, 4.9, 5.0, 4.8, 4.9,
    5.0, 5.1, 5.2,
]  # fmt: skip


def test_two_batches_of_five_are_left_out() -> None:
    found = settled_from(FIVES)
    assert (found.first, found.found) == (10, True)


def test_a_ramp_has_no_steady_part() -> None:
    found = settled_from([float(n) for n in range(12, 0, -1)], batch=1)
    assert (found.first, found.found) == (6, False)


def test_a_minimum_at_half_of_the_series_is_no_steady_part() -> None:
    # Up to half, the least is at 6 of 12; below half it would be at 3.
    values = [10, 8, 6, 5, 5.2, 4.8, 5.1, 4.9, 5, 5, 5.1, 4.9]
    found = settled_from(values, batch=1)
    assert (found.first, found.found) == (6, False)


def test_a_series_that_is_too_short_is_refused() -> None:
    with pytest.raises(ValueError, match="two batches"):
        settled_from([1.0] * 9)


def test_equal_values_are_settled_from_the_first_on() -> None:
    assert settled_from([4.0] * 100).first == 0


@given(values=st.lists(st.integers(1, 50), min_size=4, max_size=40))
def test_the_least_is_that_of_the_definition_in_fractions(values: list[int]) -> None:
    n = len(values)

    def statistic(d: int) -> Fraction:
        rest = values[d:]
        mean = Fraction(sum(rest), len(rest))
        return sum((value - mean) ** 2 for value in rest) / Fraction(len(rest) ** 2)

    found = settled_from([float(value) for value in values], batch=1)
    least = min(statistic(d) for d in range(n // 2 + 1))
    assert float(statistic(found.first)) == pytest.approx(float(least), abs=1e-9)
