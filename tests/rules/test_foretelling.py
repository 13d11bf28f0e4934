"""Forecasts held against courses that follow the law itself.

The instants come from T(t) = E + (T0 - E) exp(-t / tau), solved for t (OpenStax, Calculus
Volume 1, section 6.8).
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from harness.plan.document import Bound, Gate, Then
from harness.rig.crossings import Foretold, GateGaveUp, GatesOpened, WatchEnd
from harness.rules.gates import GateWatch
from tests.rules.strategies import bound, gate, sample

GPU = "gpu.temperature"
Course = Callable[[float], float]


def falls(to_c: float, *, by_c: float, tau_s: float) -> Course:
    return lambda t: to_c + by_c * math.exp(-t / tau_s)


def waited(course: Course, asked: Gate) -> tuple[WatchEnd, tuple[Foretold, ...]]:
    """Wait once a second; return how it ended, and what had been foretold."""
    watch = GateWatch((asked,), ())
    for second in range(2000):
        end = watch.feed(
            sample(second, {asked.bound.reading: course(second)}), waited_s=float(second)
        )
        if end is not None:
            return end, watch.foretold()
    raise AssertionError("the wait did not end")


def test_the_first_forecast_and_that_by_half_of_the_wait_are_kept() -> None:
    # 40 + 40 exp(-t / 90) is at 46 °C after 90 ln(40 / 6) = 170.74 s
    end, (told,) = waited(falls(40.0, by_c=40.0, tau_s=90.0), gate(46.0, for_s=4.0))
    assert end == GatesOpened(waited_s=175.0)
    assert (told.reached_s, told.ended_s) == (171.0, 175.0)
    assert told.value == pytest.approx(40.0 + 40.0 * math.exp(-175.0 / 90.0))
    half, first = told.forecasts  # no instant was named yet by half of the wait
    assert half.made_at_s == 72.0  # the looks: 30, 40, 50, 60, 72, 87 s …
    assert (half.reaches_s, half.earliest_s, half.latest_s) == (None, None, None)
    assert first.made_at_s == 87.0
    assert first.reaches_s is not None
    for each in told.forecasts:
        if each.reaches_s is not None:
            assert each.reaches_s == pytest.approx(170.74, abs=1.0)
            assert each.earliest_s is not None
            assert each.earliest_s <= 170.74
            assert each.latest_s is None or each.latest_s >= 170.74
        assert each.low_c <= told.value <= each.high_c
        assert each.end_c == pytest.approx(told.value, abs=0.3)


def test_the_first_is_the_first_that_named_an_instant() -> None:
    _, (told,) = waited(falls(30.0, by_c=50.0, tau_s=300.0), gate(35.0, give_up_s=1500.0))
    named = [each.made_at_s for each in told.forecasts if each.reaches_s is not None]
    assert named
    assert len(told.forecasts) == 2


def test_a_wait_that_is_over_before_the_first_look_has_none() -> None:
    end, told = waited(falls(40.0, by_c=40.0, tau_s=5.0), gate(46.0))
    assert isinstance(end, GatesOpened)
    assert told == ()


def test_what_was_foretold_of_a_gate_that_gave_up_is_held_against_its_last_value() -> None:
    end, (told,) = waited(falls(52.0, by_c=30.0, tau_s=60.0), gate(45.0))
    assert isinstance(end, GateGaveUp)
    assert end.floor is not None
    assert told.reached_s is None
    assert told.ended_s == end.waited_s
    assert told.value == end.value
    assert all(each.low_c <= told.value <= each.high_c for each in told.forecasts)


def test_only_temperatures_are_foretold() -> None:
    load = Gate(
        bound=bound("cpu.load", unit="%", at_most=10.0), for_s=0.0, give_up_s=90.0, then=Then.MARK
    )
    _, told = waited(falls(5.0, by_c=80.0, tau_s=20.0), load)
    assert told == ()


def test_a_rise_into_a_band_is_foretold_like_a_fall() -> None:
    band = Gate(
        bound=Bound(reading=GPU, unit="°C", at_least=55.0, at_most=65.0),
        for_s=0.0,
        give_up_s=900.0,
        then=Then.MARK,
    )
    # 60 - 40 exp(-t / 60) is at 55 °C after 60 ln(40 / 5) = 124.77 s
    _, (told,) = waited(falls(60.0, by_c=-40.0, tau_s=60.0), band)
    named = [each for each in told.forecasts if each.reaches_s is not None]
    assert named
    assert all(each.reaches_s == pytest.approx(124.77, abs=1.0) for each in named)


def test_intervals_hold_the_truth_where_the_law_holds() -> None:
    chance, within, named, values, forecasts = random.Random(5), 0, 0, 0, 0
    for _ in range(60):
        to_c, by_c = chance.uniform(25.0, 45.0), chance.uniform(15.0, 50.0)
        tau_s, edge = chance.uniform(30.0, 200.0), chance.uniform(0.08, 0.4)
        law = falls(to_c, by_c=by_c, tau_s=tau_s)
        truth_s = -tau_s * math.log(edge)

        def read(t: float, law: Course = law) -> float:
            return float(round(law(t) + chance.gauss(0.0, 0.2)))  # a sensor of whole degrees

        _, found = waited(read, gate(to_c + edge * by_c, give_up_s=1500.0))
        for told in found:
            for each in told.forecasts:
                forecasts += 1
                values += each.low_c <= law(told.ended_s) <= each.high_c
                if each.reaches_s is not None and each.earliest_s is not None:
                    named += 1
                    within += each.earliest_s <= truth_s and (
                        each.latest_s is None or truth_s <= each.latest_s
                    )
    # 99 % by the region; three of a hundred may be missed by chance in so few.
    assert named > 40
    assert within >= 0.97 * named
    assert values >= 0.97 * forecasts
