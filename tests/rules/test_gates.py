"""The semantics are stated in the plan's format; no source outside it, but where one is named."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import Bound, Gate, Then
from harness.rig.crossings import (
    LOST_S,
    GateGaveUp,
    GatesOpened,
    LimitBreached,
    TooCold,
    WaitWatch,
    WatchEnd,
)
from harness.rules.gates import UNSEEN_S, GateWatch
from tests.rules.strategies import bound, gate, limit, sample, traces

GPU, CPU = "gpu.temperature", "cpu.temperature"


def wait(watch: WaitWatch, *temperatures: float | None) -> WatchEnd | None:
    """Feed one sample a second; return how the wait ended."""
    for second, value in enumerate(temperatures):
        end = watch.feed(sample(second, {GPU: value}), waited_s=float(second))
        if end is not None:
            return end
    return None


def test_a_wait_without_gates_is_over_at_the_first_sample() -> None:
    assert wait(GateWatch((), (limit(),)), 20.0) == GatesOpened(waited_s=0.0)


def test_without_gates_and_limits_a_watch_says_that_it_opens_at_once() -> None:
    assert GateWatch((), ()).opens_at_once
    assert not GateWatch((), (limit(),)).opens_at_once
    assert not GateWatch((gate(60.0),), ()).opens_at_once


def test_a_gate_opens_when_it_has_held_for_its_time() -> None:
    watch = GateWatch((gate(60.0, for_s=3.0),), ())
    assert wait(watch, 70.0, 60.0, 59.0, 58.0, 57.0) == GatesOpened(waited_s=4.0)


def test_a_reading_at_the_bound_meets_it() -> None:
    assert wait(GateWatch((gate(60.0),), ()), 60.0) == GatesOpened(waited_s=0.0)


def test_a_break_starts_the_hold_again() -> None:
    watch = GateWatch((gate(60.0, for_s=3.0),), ())
    assert wait(watch, 59.0, 59.0, 59.0, 61.0, 59.0, 59.0, 59.0, 59.0) == GatesOpened(waited_s=7.0)


def test_a_sample_without_a_value_breaks_the_hold() -> None:
    watch = GateWatch((gate(60.0, for_s=2.0),), ())
    assert wait(watch, 59.0, 59.0, None, 59.0, 59.0, 59.0) == GatesOpened(waited_s=5.0)


def test_gates_must_hold_at_once() -> None:
    watch = GateWatch((gate(60.0, for_s=2.0), gate(50.0, reading=CPU)), ())
    ends = []
    for second, (gpu, cpu) in enumerate(
        [
            (59.0, 40.0),
            (59.0, 55.0),
            (59.0, 55.0),
            (61.0, 40.0),
            (59.0, 40.0),
            (59.0, 40.0),
            (59.0, 40.0),
        ]
    ):
        ends.append(watch.feed(sample(second, {GPU: gpu, CPU: cpu}), waited_s=float(second)))
    assert ends[:6] == [None] * 6
    assert ends[6] == GatesOpened(waited_s=6.0)


def test_a_gate_that_never_held_gives_up_with_its_last_value() -> None:
    watch = GateWatch((gate(60.0, for_s=2.0, give_up_s=4.0, then=Then.SKIP),), ())
    assert wait(watch, 80.0, 78.0, 76.0, 74.0, 72.0) == GateGaveUp(
        gate=0,
        reading=GPU,
        bound="at most 60 °C",
        value=72.0,
        unit="°C",
        why=None,
        waited_s=4.0,
    )


def test_a_gate_met_too_late_to_hold_gives_up() -> None:
    watch = GateWatch((gate(60.0, for_s=3.0, give_up_s=4.0),), ())
    assert isinstance(wait(watch, 70.0, 70.0, 59.0, 59.0, 59.0), GateGaveUp)


def test_a_gate_that_holds_at_the_last_moment_opens() -> None:
    watch = GateWatch((gate(60.0, for_s=2.0, give_up_s=4.0),), ())
    assert wait(watch, 70.0, 70.0, 59.0, 59.0, 59.0) == GatesOpened(waited_s=4.0)


def test_a_gate_on_a_reading_the_rig_has_not_gives_up_and_says_so() -> None:
    watch = GateWatch((gate(60.0, give_up_s=1.0, reading="room.temperature"),), ())
    end = wait(watch, 20.0, 20.0)
    assert isinstance(end, GateGaveUp)
    assert (end.value, end.why) == (None, "this rig has no such reading")


def test_a_short_break_after_its_time_does_not_blame_a_gate_that_had_held() -> None:
    # The load gate held from the start; it breaks for a second while the card still cools.
    watch = GateWatch((gate(60.0, give_up_s=100.0), gate(10.0, reading=CPU, give_up_s=5.0)), ())
    end: WatchEnd | None = None
    for second in range(40):
        cpu = 30.0 if second == 20 else 5.0
        gpu = 80.0 if second < 30 else 55.0
        end = watch.feed(sample(second, {GPU: gpu, CPU: cpu}), waited_s=float(second))
        if end is not None:
            break
    assert end == GatesOpened(waited_s=30.0)


def test_a_gate_that_had_held_and_stays_broken_gives_up_after_its_time() -> None:
    watch = GateWatch((gate(60.0, give_up_s=100.0), gate(10.0, reading=CPU, give_up_s=5.0)), ())
    end: WatchEnd | None = None
    for second in range(100):
        cpu = 30.0 if second >= 20 else 5.0
        end = watch.feed(sample(second, {GPU: 80.0, CPU: cpu}), waited_s=float(second))
        if end is not None:
            break
    assert isinstance(end, GateGaveUp)
    assert (end.gate, end.waited_s) == (1, 25.0)


def test_gates_that_hold_only_in_turn_end_with_the_longest_patience() -> None:
    watch = GateWatch((gate(50.0, give_up_s=20.0), gate(50.0, reading=CPU, give_up_s=30.0)), ())
    end: WatchEnd | None = None
    for second in range(100):
        gpu, cpu = (40.0, 60.0) if second % 2 else (60.0, 40.0)
        end = watch.feed(sample(second, {GPU: gpu, CPU: cpu}), waited_s=float(second))
        if end is not None:
            break
    assert isinstance(end, GateGaveUp)
    assert (end.gate, end.waited_s) == (0, 30.0)


def test_samples_need_not_come_every_second() -> None:
    watch = GateWatch((gate(60.0, for_s=10.0),), ())
    assert watch.feed(sample(3, {GPU: 55.0}), waited_s=3.0) is None
    assert watch.feed(sample(14, {GPU: 55.0}), waited_s=14.0) == GatesOpened(waited_s=14.0)


def test_a_stretch_that_nobody_looked_at_breaks_the_hold() -> None:
    watch = GateWatch((gate(60.0, for_s=10.0),), ())
    assert watch.feed(sample(3, {GPU: 55.0}), waited_s=3.0) is None
    assert watch.feed(sample(40, {GPU: 55.0}), waited_s=3.0 + UNSEEN_S + 1.0) is None
    assert watch.feed(sample(44, {GPU: 55.0}), waited_s=43.9) is None
    assert watch.feed(sample(44, {GPU: 55.0}), waited_s=44.0) == GatesOpened(waited_s=44.0)


def test_a_reading_that_stays_away_gives_the_gate_up_as_lost() -> None:
    watch = GateWatch((gate(60.0, give_up_s=900.0),), ())
    end = wait(watch, 70.0, 69.0, *[None] * 100)
    assert isinstance(end, GateGaveUp)
    assert (end.lost, end.value, end.why) == (True, None, "no answer")
    assert end.waited_s == 2.0 + LOST_S


def test_a_reading_that_comes_back_in_time_is_not_lost() -> None:
    gone = [None] * (int(LOST_S) - 1)
    watch = GateWatch((gate(60.0, give_up_s=900.0),), ())
    end = wait(watch, 70.0, *gone, 69.0, *gone, 59.0)
    assert isinstance(end, GatesOpened)


def test_a_stretch_that_nobody_looked_at_loses_no_reading() -> None:
    watch = GateWatch((gate(60.0, give_up_s=900.0),), ())
    away_s = 3.0 + UNSEEN_S + 1.0  # the look before it was missed, and so is the one after it
    for at_s in (2.0, 3.0, away_s, away_s + LOST_S - 1.0):
        value = 70.0 if at_s == 2.0 else None
        assert watch.feed(sample(at_s, {GPU: value}), waited_s=at_s) is None
    end = watch.feed(sample(away_s, {GPU: None}), waited_s=away_s + LOST_S)
    assert isinstance(end, GateGaveUp)
    assert end.lost


def test_a_gate_whose_time_is_over_while_its_reading_is_away_is_lost_too() -> None:
    end = wait(GateWatch((gate(60.0, give_up_s=3.0),), ()), 70.0, None, None, None)
    assert isinstance(end, GateGaveUp)
    assert end.lost
    end = wait(GateWatch((gate(60.0, give_up_s=3.0),), ()), 70.0, None, None, 70.0)
    assert isinstance(end, GateGaveUp)
    assert not end.lost


def test_it_tells_in_how_long_a_gate_will_have_held() -> None:
    watch = GateWatch((gate(60.0, for_s=10.0),), ())
    assert watch.now(0) is None
    watch.feed(sample(0, {GPU: 70.0}), waited_s=0.0)
    assert (watch.is_met(0), watch.opens_in_s(0, waited_s=0.0)) == (False, None)
    watch.feed(sample(1, {GPU: 59.0}), waited_s=1.0)
    assert (watch.is_met(0), watch.opens_in_s(0, waited_s=4.0)) == (True, 7.0)
    now = watch.now(0)
    assert now is not None
    assert now.value == 59.0


@given(trace=traces, for_s=st.integers(0, 5), give_up_s=st.integers(1, 40))
def test_a_gate_opens_only_after_an_unbroken_hold(
    trace: list[float | None], for_s: int, give_up_s: int
) -> None:
    end = wait(GateWatch((gate(60.0, for_s=for_s, give_up_s=give_up_s),), ()), *trace)
    ends = [
        second
        for second in range(for_s, len(trace))
        if all(v is not None and v <= 60.0 for v in trace[second - for_s : second + 1])
    ]
    first = min(ends, default=math.inf)
    if first <= give_up_s:
        assert end == GatesOpened(waited_s=float(first))
    elif len(trace) > give_up_s:
        assert isinstance(end, GateGaveUp)
        assert (end.waited_s, end.value) == (give_up_s, trace[give_up_s])
    else:
        assert end is None


@given(
    traces_of_both=st.lists(st.tuples(st.booleans(), st.booleans()), min_size=61, max_size=61),
    give_ups=st.tuples(st.integers(1, 60), st.integers(1, 60)),
)
def test_no_wait_outlasts_the_longest_patience(
    traces_of_both: list[tuple[bool, bool]], give_ups: tuple[int, int]
) -> None:
    gates = (
        gate(50.0, for_s=1.0, give_up_s=give_ups[0]),
        gate(50.0, reading=CPU, give_up_s=give_ups[1]),
    )
    watch, second, end = GateWatch(gates, ()), 0, None
    for second, (gpu, cpu) in enumerate(traces_of_both):
        values = {GPU: 40.0 if gpu else 60.0, CPU: 40.0 if cpu else 60.0}
        end = watch.feed(sample(second, values), waited_s=float(second))
        if end is not None:
            break
    assert end is not None
    assert second <= max(give_ups)


def test_a_limit_ends_a_wait_before_anything_else() -> None:
    watch = GateWatch((gate(99.0),), (limit(92.0),))
    assert wait(watch, 92.5) == LimitBreached(
        reading=GPU, unit="°C", bound="at most 92 °C", value=92.5, why=None, at_s=0.0
    )


def test_a_gate_between_two_bounds_waits_for_the_part_to_warm_up() -> None:
    band = Gate(bound=bound(at_least=55.0, at_most=65.0), for_s=0.0, give_up_s=60.0, then=Then.HOLD)
    assert wait(GateWatch((band,), ()), 40.0, 50.0, 55.0) == GatesOpened(waited_s=2.0)


# --- each form, on samples that come and go ------------------------------------------------


def held_by(
    asked: Bound, values: list[float | bool | str | None], **more: float
) -> WatchEnd | None:
    """Feed one sample a second to a gate on *asked* that must hold for 2 s."""
    watch = GateWatch(
        (Gate(bound=asked, for_s=2.0, give_up_s=more.get("give_up_s", 60.0), then=Then.MARK),), ()
    )
    for second, value in enumerate(values):
        end = watch.feed(sample(second, {asked.reading: value}), waited_s=float(second))
        if end is not None:
            return end
    return None


FORMS: list[tuple[Bound, float | bool | str, float | bool | str]] = [
    (bound("cpu.load", unit="%", at_most=10.0), 10.0, 10.1),
    (bound("memory.available", unit="GiB", at_least=8.0), 8.0, 7.9),
    (bound("gpu.clock", unit="MHz", at_least=300.0, at_most=500.0), 500.0, 501.0),
    (bound("gpu.clock", unit="MHz", equals=210.0), 210.0, 211.0),
    (bound("gpu.limited.heat", unit="", equals=False), False, True),
    (bound("power.source", unit="", equals="mains"), "mains", "battery"),
]


@pytest.mark.parametrize(("asked", "good", "bad"), FORMS)
def test_each_form_opens_after_its_hold(
    asked: Bound, good: float | bool | str, bad: float | bool | str
) -> None:
    assert held_by(asked, [bad, good, good, good]) == GatesOpened(waited_s=3.0)


@pytest.mark.parametrize(("asked", "good", "bad"), FORMS)
def test_each_form_begins_its_hold_again_after_a_sample_that_was_not_measured(
    asked: Bound, good: float | bool | str, bad: float | bool | str
) -> None:
    del bad
    assert held_by(asked, [good, good, None, good, good, good]) == GatesOpened(waited_s=5.0)


@pytest.mark.parametrize(("asked", "good", "bad"), FORMS)
def test_each_form_gives_up_with_the_last_value(
    asked: Bound, good: float | bool | str, bad: float | bool | str
) -> None:
    end = held_by(asked, [good, bad, good, bad, bad], give_up_s=4.0)
    assert isinstance(end, GateGaveUp)
    assert (end.value, end.why, end.waited_s) == (bad, None, 4.0)


@pytest.mark.parametrize(("asked", "good", "bad"), FORMS)
def test_each_form_that_is_not_measured_at_the_end_gives_up_and_says_why(
    asked: Bound, good: float | bool | str, bad: float | bool | str
) -> None:
    del bad
    end = held_by(asked, [good, None, good, None], give_up_s=3.0)
    assert isinstance(end, GateGaveUp)
    assert (end.value, end.why) == (None, "no answer")


# --- out of reach ---------------------------------------------------------------------------


def falls(to_c: float, *, by_c: float, tau_s: float) -> Callable[[float], float]:
    return lambda t: to_c + by_c * math.exp(-t / tau_s)


def watched(course: Callable[[float], float | None], *gates: Gate, until_s: int = 900) -> WatchEnd:
    watch = GateWatch(gates, ())
    for second in range(until_s + 1):
        end = watch.feed(sample(second, {GPU: course(second)}), waited_s=float(second))
        if end is not None:
            return end
    raise AssertionError("the wait did not end")


def test_a_gate_in_a_warm_room_gives_up_early_with_the_floor() -> None:
    end = watched(falls(52.0, by_c=30.0, tau_s=60.0), gate(45.0))
    assert isinstance(end, GateGaveUp)
    assert end.waited_s < 450.0
    assert end.floor is not None
    assert end.floor.low_c <= 52.0 <= end.floor.high_c
    assert end.floor.low_c > 45.0


def test_a_gate_that_is_reached_in_time_never_gives_up_early() -> None:
    end = watched(falls(52.0, by_c=30.0, tau_s=300.0), gate(55.0))
    assert end == GatesOpened(waited_s=691.0)


def test_a_gate_says_how_long_its_bound_is_still_away() -> None:
    course = falls(40.0, by_c=40.0, tau_s=90.0)
    watch = GateWatch((gate(46.0),), ())
    for second in range(121):
        watch.feed(sample(second, {GPU: course(second)}), waited_s=float(second))
    left_s = watch.left_s(0, waited_s=120.0)
    assert left_s is not None
    # t = tau ln((T0 - E) / (T - E)): 90 ln(40 / 6) = 170.7 s
    assert 120.0 + left_s == pytest.approx(170.7, rel=0.03)


def test_a_jump_in_the_middle_of_a_fall_is_no_reason_to_give_up_early() -> None:
    fall = falls(40.0, by_c=40.0, tau_s=60.0)
    end = watched(lambda t: fall(t) if t < 200 else fall(t) - 4.0, gate(38.0, give_up_s=300.0))
    assert end == GatesOpened(waited_s=200.0)


def test_a_part_that_gets_warmer_is_driven_and_no_reason_to_give_up_early() -> None:
    end = watched(lambda t: 50.0 + t / 50, gate(45.0, give_up_s=600.0), until_s=600)
    assert isinstance(end, GateGaveUp)
    assert (end.waited_s, end.floor) == (600.0, None)


def test_a_cold_rig_does_not_wait_for_a_lower_edge_that_it_cannot_reach() -> None:
    band = Gate(
        bound=bound(at_least=55.0, at_most=65.0), for_s=0.0, give_up_s=900.0, then=Then.MARK
    )
    end = watched(lambda t: 34.0, band)
    assert isinstance(end, GateGaveUp)
    assert end.waited_s < 200.0
    assert end.floor is not None
    assert end.floor.high_c < 55.0


# --- preload --------------------------------------------------------------------------------

BAND = Gate(
    bound=bound(at_least=55.0, at_most=65.0),
    for_s=2.0,
    give_up_s=60.0,
    then=Then.MARK,
    preload=True,
)


def test_a_part_below_a_band_that_may_preload_ends_the_wait_at_once() -> None:
    assert wait(GateWatch((BAND,), ()), 40.0) == TooCold(
        gate=0,
        reading=GPU,
        bound="between 55 °C and 65 °C",
        value=40.0,
        unit="°C",
        waited_s=0.0,
    )


def test_a_part_above_the_band_is_waited_for() -> None:
    assert wait(GateWatch((BAND,), ()), 70.0, 66.0, 64.0, 63.0, 62.0) == GatesOpened(waited_s=4.0)


def test_a_part_that_falls_out_of_the_band_is_too_cold() -> None:
    end = wait(GateWatch((BAND,), ()), 56.0, 55.5, 54.9)
    assert isinstance(end, TooCold)
    assert end.waited_s == 2.0


def test_nothing_is_preloaded_while_another_gate_does_not_hold() -> None:
    watch = GateWatch((BAND, gate(10.0, reading=CPU, give_up_s=30.0)), ())
    ends = [
        watch.feed(sample(n, {GPU: 40.0, CPU: 30.0 if n < 5 else 5.0}), waited_s=float(n))
        for n in range(6)
    ]
    assert ends[:5] == [None] * 5
    assert isinstance(ends[5], TooCold)


def test_a_temperature_that_is_not_measured_is_not_too_cold() -> None:
    assert wait(GateWatch((BAND,), ()), None, None, None) is None


def test_a_limit_comes_before_a_preload() -> None:
    watch = GateWatch((BAND,), (limit(30.0),))
    assert isinstance(wait(watch, 40.0), LimitBreached)
