"""The semantics are stated in the plan's format; no source outside it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import Bound, Gate, Guard, Limit, Then
from harness.rig.crossings import (
    GateGaveUp,
    GatesOpened,
    GuardBreached,
    LimitBreached,
    PassWatch,
    WaitWatch,
)
from harness.rules.watches import GateWatch, GuardWatch
from tests.rules.strategies import bound, gate, guard, limit, sample, traces

GPU, CPU = "gpu.temperature", "cpu.temperature"


def wait(
    watch: WaitWatch, *temperatures: float | None
) -> GatesOpened | GateGaveUp | LimitBreached | None:
    """Feed one sample a second; return how the wait ended."""
    for second, value in enumerate(temperatures):
        end = watch.feed(sample(second, {GPU: value}), waited_s=float(second))
        if end is not None:
            return end
    return None


def carry_out(guards: tuple[Guard, ...], *temperatures: float | None) -> tuple[GuardBreached, ...]:
    watch: PassWatch = GuardWatch(guards, ())
    for second, value in enumerate(temperatures):
        assert watch.feed(sample(second, {GPU: value}), into_s=float(second)) is None
    return watch.breaches(wall_s=float(len(temperatures)))


# --- gates ---------------------------------------------------------------------------


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
    end: GatesOpened | GateGaveUp | LimitBreached | None = None
    for second in range(40):
        cpu = 30.0 if second == 20 else 5.0
        gpu = 80.0 if second < 30 else 55.0
        end = watch.feed(sample(second, {GPU: gpu, CPU: cpu}), waited_s=float(second))
        if end is not None:
            break
    assert end == GatesOpened(waited_s=30.0)


def test_a_gate_that_had_held_and_stays_broken_gives_up_after_its_time() -> None:
    watch = GateWatch((gate(60.0, give_up_s=100.0), gate(10.0, reading=CPU, give_up_s=5.0)), ())
    end: GatesOpened | GateGaveUp | LimitBreached | None = None
    for second in range(100):
        cpu = 30.0 if second >= 20 else 5.0
        end = watch.feed(sample(second, {GPU: 80.0, CPU: cpu}), waited_s=float(second))
        if end is not None:
            break
    assert isinstance(end, GateGaveUp)
    assert (end.gate, end.waited_s) == (1, 25.0)


def test_gates_that_hold_only_in_turn_end_with_the_longest_patience() -> None:
    watch = GateWatch((gate(50.0, give_up_s=20.0), gate(50.0, reading=CPU, give_up_s=30.0)), ())
    end: GatesOpened | GateGaveUp | LimitBreached | None = None
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


# --- limits --------------------------------------------------------------------------


def test_a_limit_ends_a_wait_before_anything_else() -> None:
    watch = GateWatch((gate(99.0),), (limit(92.0),))
    assert wait(watch, 92.5) == LimitBreached(
        reading=GPU, unit="°C", bound="at most 92 °C", value=92.5, why=None, at_s=0.0
    )


def test_a_limit_whose_reading_is_lost_in_the_pass_is_breached() -> None:
    watch = GuardWatch((), (limit(92.0),))
    assert watch.feed(sample(0, {GPU: 80.0}), into_s=0.0) is None
    breach = watch.feed(sample(1, {GPU: None}), into_s=1.0)
    assert breach is not None
    assert (breach.value, breach.why, breach.at_s) == (None, "lost (no answer)", 1.0)


def test_a_limit_whose_reading_was_never_measured_is_breached() -> None:
    breach = GuardWatch((), (limit(92.0),)).feed(sample(0, {}), into_s=0.0)
    assert breach is not None
    assert (breach.value, breach.why) == (None, "this rig has no such reading")


@pytest.mark.parametrize(
    ("asked", "read", "value", "why"),
    [
        (bound("cpu.limited.heat", unit="", equals=False), True, 1.0, None),
        (bound("power.source", unit="", equals="mains"), "battery", None, "it is battery"),
        (
            bound(at_most=92.0),
            "hot",
            None,
            "cannot be held against it: hot",
        ),
    ],
)
def test_a_limit_on_what_is_no_number_says_what_was_read(
    asked: Bound, read: bool | str, value: float | None, why: str | None
) -> None:
    limits = (Limit(bound=asked),)
    breach = GuardWatch((), limits).feed(sample(0, {limits[0].bound.reading: read}), into_s=0.0)
    assert breach is not None
    assert (breach.value, breach.why) == (value, why)


def test_the_first_limit_in_the_plan_is_the_one_reported() -> None:
    breach = GuardWatch((), (limit(95.0), limit(92.0))).feed(sample(0, {GPU: 99.0}), into_s=0.0)
    assert breach is not None
    assert breach.bound == "at most 95 °C"


# --- guards --------------------------------------------------------------------------


def test_a_guard_without_a_share_is_breached_by_one_sample() -> None:
    assert carry_out((guard(90.0),), 80.0, 91.0, 80.0, 80.0) == (
        GuardBreached(
            guard=0,
            reading=GPU,
            bound="at most 90 °C",
            share=0.25,
            samples=1,
            measured=4,
            worst=91.0,
            unit="°C",
        ),
    )


def test_a_guard_with_a_share_allows_exactly_that_share() -> None:
    assert carry_out((guard(90.0, share=0.25),), 80.0, 91.0, 80.0, 80.0) == ()
    assert carry_out((guard(90.0, share=0.25),), 80.0, 91.0, 80.0) != ()


def test_samples_without_a_value_take_no_part_in_the_share() -> None:
    (breach,) = carry_out((guard(90.0, share=0.3),), 91.0, None, None, 80.0, None)
    assert (breach.share, breach.samples, breach.measured) == (0.5, 1, 2)


def test_a_guard_for_a_time_counts_the_longest_unbroken_row() -> None:
    guards = (guard(90.0, for_s=3.0),)
    assert carry_out(guards, 80.0, 91.0, 91.0, 91.0, 91.0, 80.0) == ()
    assert carry_out(guards, 80.0, 91.0, 91.0, 80.0, 91.0, 91.0, 91.0, 80.0) == ()
    assert len(carry_out(guards, 80.0, 91.0, 91.0, 91.0, 91.0, 91.0)) == 1


def test_a_hole_in_the_readings_does_not_break_a_row() -> None:
    assert len(carry_out((guard(90.0, for_s=3.0),), 91.0, None, None, None, 91.0, 80.0)) == 1


def test_either_share_or_time_breaches_where_both_are_given() -> None:
    both = (guard(90.0, share=0.5, for_s=1.0),)
    assert len(carry_out(both, 91.0, 91.0, 91.0, *[80.0] * 20)) == 1
    assert len(carry_out(both, 91.0, 80.0, 91.0, 80.0, 91.0)) == 1
    assert carry_out(both, 91.0, 80.0, 91.0, 80.0) == ()


@pytest.mark.parametrize("trace", [(), (None, None, None)])
def test_a_guard_never_measured_is_breached_without_a_share(trace: tuple[None, ...]) -> None:
    (breach,) = carry_out((guard(90.0, share=0.9),), *trace)
    assert (breach.share, breach.samples, breach.measured, breach.worst) == (None, 0, 0, None)


def test_the_worst_value_is_the_furthest_outside() -> None:
    (breach,) = carry_out((guard(90.0),), 91.0, 95.0, 93.0)
    assert breach.worst == 95.0


@given(trace=traces, share=st.integers(0, 10).map(lambda n: n / 10))
def test_a_share_is_failed_over_measured(trace: list[float | None], share: float) -> None:
    found = carry_out((guard(60.0, share=share),), *trace)
    values = [value for value in trace if value is not None]
    failed = [value for value in values if value > 60.0]
    if not values:
        assert found[0].share is None
    elif len(failed) / len(values) > share:
        assert (found[0].share, found[0].worst) == (len(failed) / len(values), max(failed))
    else:
        assert found == ()


@given(trace=traces)
def test_a_limit_breach_is_at_the_first_sample_that_is_not_met(
    trace: list[float | None],
) -> None:
    watch = GuardWatch((), (limit(60.0),))
    breaches = [
        watch.feed(sample(second, {GPU: value}), into_s=float(second))
        for second, value in enumerate(trace)
    ]
    wanted = next((s for s, v in enumerate(trace) if v is None or v > 60.0), None)
    found = next((s for s, b in enumerate(breaches) if b is not None), None)
    assert found == wanted


def test_a_gate_between_two_bounds_waits_for_the_part_to_warm_up() -> None:
    band = Gate(bound=bound(at_least=55.0, at_most=65.0), for_s=0.0, give_up_s=60.0, then=Then.HOLD)
    assert wait(GateWatch((band,), ()), 40.0, 50.0, 55.0) == GatesOpened(waited_s=2.0)
