"""What is told of a law without the fit agrees with the fit."""

from __future__ import annotations

import math
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from harness.rules.newton import Point, fitted, surely_reaches


def course(
    *, end_c: float, start_c: float, tau_s: float, noise_c: float, count: int
) -> list[Point]:
    chance = random.Random(count)
    law = [(float(t), end_c + (start_c - end_c) * math.exp(-t / tau_s)) for t in range(count)]
    return [(t, c + chance.gauss(0.0, noise_c)) for t, c in law]


courses = st.builds(
    course,
    end_c=st.floats(20.0, 90.0),
    start_c=st.floats(20.0, 95.0),
    tau_s=st.floats(3.0, 500.0),
    noise_c=st.sampled_from([0.0, 0.2, 0.8]),
    count=st.integers(8, 24),
)


@given(courses, st.floats(20.0, 90.0), st.floats(1.0, 900.0), st.booleans())
@settings(max_examples=300, deadline=None)
def test_an_edge_that_is_surely_reached_is_within_the_interval_of_the_fit(
    points: list[Point], edge_c: float, ahead_s: float, falling: bool
) -> None:
    by_s = points[-1][0] + ahead_s
    if not surely_reaches(points, edge_c, by_s, falling=falling):
        return
    fit = fitted(points, first_s=points[0][0], last_s=points[-1][0])
    if fit is not None:  # of a poor fit nothing is said at all
        low, high = fit.interval(by_s)
        assert low <= edge_c if falling else high >= edge_c


def test_most_edges_in_reach_are_told_without_the_fit() -> None:
    told = 0
    for edge_c in range(42, 60):
        points = course(end_c=40.0, start_c=80.0, tau_s=90.0, noise_c=0.0, count=24)
        told += surely_reaches(points, float(edge_c), 400.0, falling=True)
    assert told == 18


def test_an_edge_far_below_the_end_is_not_told_to_be_reached() -> None:
    points = course(end_c=60.0, start_c=62.0, tau_s=5.0, noise_c=0.0, count=24)
    assert not surely_reaches(points, 30.0, 40.0, falling=True)


def test_too_few_points_tell_nothing() -> None:
    points = course(end_c=40.0, start_c=80.0, tau_s=90.0, noise_c=0.0, count=7)
    assert not surely_reaches(points, 79.0, 400.0, falling=True)
