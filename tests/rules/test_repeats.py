"""Rows written twice: the quick look and the plain definition agree on every series."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rules.repeats import DIFFERENT, MOST_APART, ROWS, first_repeat, times_each


def by_definition(values: Sequence[float]) -> tuple[int, int] | None:
    """Every place against the last before it from which the same ``ROWS`` values were seen."""
    for place in range(len(values) - ROWS + 1):
        window = values[place : place + ROWS]
        befores = [at for at in range(place) if values[at : at + ROWS] == window]
        if not befores or len(set(window)) < DIFFERENT:
            continue
        long = place - befores[-1]
        same = values[befores[-1] : place] == values[place : place + long]
        if ROWS <= long <= MOST_APART and same:
            return place, long
    return None


@st.composite
def logs(draw: st.DrawFn) -> list[float]:
    """Frame times of few or many different values, with a stretch that may come twice."""
    values = draw(st.lists(st.integers(1, draw(st.sampled_from([2, 5, 9, 10**6]))), max_size=80))
    start = draw(st.integers(0, len(values)))
    end = draw(st.integers(start, len(values)))
    times = draw(st.integers(0, 2))
    return [each / 7.0 for each in values[:end] + times * values[start:end] + values[end:]]


@given(logs())
def test_the_first_repeat_is_the_one_of_the_definition(values: list[float]) -> None:
    assert first_repeat(values) == by_definition(values)


def test_a_stretch_is_found_wherever_it_begins() -> None:
    ordinary = [16.6 + 0.0371 * (place * place % 97) for place in range(97)]
    for start in range(20, 28):
        values = ordinary[: start + ROWS] + ordinary[start:]
        assert first_repeat(values) == (start + ROWS, ROWS)


def test_a_level_that_is_held_is_no_repeat() -> None:
    assert first_repeat([16.6] * 400) is None
    assert first_repeat([16.6, 16.7, 16.8] * 200) is None


@pytest.mark.parametrize("often", [2, 3, 4])
@pytest.mark.parametrize("cut", [0, 1])
def test_every_row_written_more_than_once_is_found_wherever_the_log_begins(
    often: int, cut: int
) -> None:
    ordinary = [16.6 + 0.0371 * (place * place % 97) for place in range(40)]
    assert times_each([each for each in ordinary for _ in range(often)][cut:]) == often


def test_neighbours_that_a_coarse_clock_makes_equal_are_no_rows_written_twice() -> None:
    chance = random.Random(3)
    for share in (0.5, 0.8, 0.97):
        values = [16.0 if chance.random() < share else 17.0 for _ in range(2000)]
        assert times_each(values) is None
    assert times_each([16.6] * 400) is None


def test_a_log_of_single_rows_is_of_single_rows() -> None:
    assert times_each([16.6 + 0.0371 * (place * place % 97) for place in range(97)]) is None
    assert times_each([16.6, 16.6]) is None
    assert times_each([]) is None
