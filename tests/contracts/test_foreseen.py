"""The rehearsed bench foresees what the watches would say, sample by sample, tick by tick."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from harness.plan.document import Bound, Gate, Guard, Limit, Then
from harness.rig.crossings import GateGaveUp, GatesOpened, LimitBreached, TooCold
from harness.rig.foreseen import guard_in_pass, limit_in_pass, waiting
from harness.rig.readings import Reading, Sample, measured, not_measured
from harness.rig.thermal import MOST_STEP_S, Course, Thermal
from harness.rules.gates import GateWatch
from harness.rules.guards import GuardWatch

NAMES = ("gpu.temperature", "cpu.temperature")
LOAD = "cpu.load"

celsius = st.floats(10.0, 110.0)
plain_parts = st.builds(
    Thermal, room_c=st.floats(15.0, 45.0), hot_c=st.floats(50.0, 110.0), tau_s=st.floats(5.0, 200.0)
)


@st.composite
def chips_on_heatsinks(draw: st.DrawFn) -> Thermal:
    """A part whose fall has two stages: the chip's own heat first, then its heatsink's."""
    part = draw(plain_parts)
    step_c = draw(st.floats(0.0, 1.0)) * (part.hot_c - part.room_c)
    return replace(part, step_c=step_c, step_s=draw(st.floats(0.2, MOST_STEP_S)))


parts = plain_parts | chips_on_heatsinks()


@st.composite
def bounds(draw: st.DrawFn) -> Bound:
    name = draw(st.sampled_from((*NAMES, LOAD)))
    unit = "%" if name == LOAD else "°C"
    low, high = sorted((draw(celsius), draw(celsius)))
    form = draw(st.sampled_from(("at_least", "at_most", "between")))
    return Bound(
        reading=name,
        unit=unit,
        at_least=low if form != "at_most" else None,
        at_most=high if form != "at_least" else None,
    )


gates = st.builds(
    Gate,
    bound=bounds(),
    for_s=st.integers(0, 30).map(float),
    give_up_s=st.integers(0, 300).map(float),
    then=st.just(Then.MARK),
    preload=st.booleans(),
)
guards = st.builds(
    Guard,
    bound=bounds(),
    share=st.none() | st.floats(0.01, 0.9),
    for_s=st.none() | st.integers(0, 20).map(float),
)


@st.composite
def courses(draw: st.DrawFn, *, loaded: bool) -> Course:
    load = draw(st.none() | st.floats(0.0, 100.0))

    def read(name: str) -> Reading:
        if name == LOAD:
            return not_measured(LOAD, "absent") if load is None else measured(LOAD, load)
        # As in a sample: also a value that stands for none in a real sensor.
        return Reading(name=name, unit="°C", value=course.start_c(name))

    drawn = {name: draw(parts) for name in NAMES}
    course = Course(
        parts=drawn,
        temperatures={name: draw(celsius) for name in NAMES},
        read=read,
        loaded=loaded,
        chips={
            name: draw(st.floats(0.0, 1.0)) * part.step_c
            for name, part in drawn.items()
            if draw(st.booleans())
        },
    )
    return course


def sample(course: Course, at_s: float) -> Sample:
    readings = {LOAD: course.read(LOAD)}
    for name in NAMES:
        value = course.value(name, at_s)
        assert isinstance(value, float)
        readings[name] = Reading(name=name, unit="°C", value=value)
    return Sample(at_s=at_s, end_s=at_s, readings=readings)


def near_an_edge(course: Course, watched: Sequence[Bound], until_s: float) -> bool:
    """Return whether a value lies within rounding of an edge at some tick."""
    for bound in watched:
        if bound.reading == LOAD:
            continue
        for tick in range(int(until_s) + 2):
            value = course.value(bound.reading, float(tick))
            assert isinstance(value, float)
            for edge in (bound.at_least, bound.at_most):
                if edge is not None and math.isclose(value, edge, rel_tol=1e-9):
                    return True
    return False


@settings(max_examples=400, deadline=None)
@given(
    courses(loaded=False), st.lists(gates, min_size=1, max_size=3), st.lists(bounds(), max_size=1)
)
def test_a_foreseen_wait_ends_as_the_sampled_one(
    course: Course, asked: list[Gate], limited: list[Bound]
) -> None:
    limits = tuple(Limit(bound=bound) for bound in limited)
    foreseen, at_s = waiting(GateWatch(tuple(asked), limits), course)
    if near_an_edge(course, [*(gate.bound for gate in asked), *limited], at_s):
        return
    watch = GateWatch(tuple(asked), limits)
    tick = 0
    while (seen := watch.feed(sample(course, float(tick)), waited_s=float(tick))) is None:
        tick += 1
        assert tick <= at_s + 1, f"foreseen at {at_s}: {foreseen}"
    assert type(seen) is type(foreseen)
    assert tick == at_s
    if isinstance(seen, GateGaveUp) and isinstance(foreseen, GateGaveUp):
        assert (seen.gate, seen.reading, seen.bound) == (
            foreseen.gate,
            foreseen.reading,
            foreseen.bound,
        )
        assert (seen.floor is None) == (foreseen.floor is None)
        assert (seen.lost, seen.why) == (foreseen.lost, foreseen.why)
    if isinstance(seen, TooCold):
        assert seen == foreseen
    if isinstance(seen, LimitBreached) and isinstance(foreseen, LimitBreached):
        assert (seen.reading, seen.at_s) == (foreseen.reading, foreseen.at_s)
    if isinstance(seen, GatesOpened):
        assert seen == foreseen


@settings(max_examples=400, deadline=None)
@given(courses(loaded=True), guards, st.integers(0, 120))
def test_a_foreseen_guard_is_breached_as_the_sampled_one(
    course: Course, guard: Guard, wall_s: int
) -> None:
    if near_an_edge(course, [guard.bound], wall_s):
        return
    foreseen = guard_in_pass(0, guard, float(wall_s), course)
    watch = GuardWatch((guard,), ())
    for tick in range(wall_s + 1):
        watch.feed(sample(course, float(tick)), into_s=float(tick))
    seen = watch.breaches(wall_s=float(wall_s))
    assert bool(seen) == (foreseen is not None)
    if seen and foreseen is not None:
        (breach,) = seen
        assert (breach.share, breach.samples, breach.measured, breach.seen) == (
            foreseen.share,
            foreseen.samples,
            foreseen.measured,
            foreseen.seen,
        )
        assert (breach.allowed, breach.why) == (foreseen.allowed, foreseen.why)
        assert breach.longest_s == foreseen.longest_s
        if isinstance(breach.worst, float) and isinstance(foreseen.worst, float):
            assert math.isclose(breach.worst, foreseen.worst, rel_tol=1e-9)


@settings(max_examples=400, deadline=None)
@given(courses(loaded=True), bounds(), st.integers(0, 120))
def test_a_foreseen_limit_is_breached_as_the_sampled_one(
    course: Course, bound: Bound, wall_s: int
) -> None:
    if near_an_edge(course, [bound], wall_s):
        return
    limit = Limit(bound=bound)
    foreseen = limit_in_pass(limit, float(wall_s), course)
    watch = GuardWatch((), (limit,))
    seen = None
    for tick in range(wall_s + 1):
        seen = watch.feed(sample(course, float(tick)), into_s=float(tick))
        if seen is not None:
            break
    assert (seen is None) == (foreseen is None)
    if seen is not None and foreseen is not None:
        assert seen.at_s == foreseen.at_s


@st.composite
def cool_downs(draw: st.DrawFn) -> tuple[Course, tuple[Gate, ...]]:
    """A rig after a pass, and one or two gates that are often out of reach."""
    course = draw(courses(loaded=False))
    room_c = {name: course.parts[name].room_c for name in NAMES}
    gates = [
        Gate(
            bound=Bound(
                reading=name,
                unit="°C",
                at_most=room_c[name] + draw(st.floats(-15.0, 10.0)),
            ),
            for_s=draw(st.integers(0, 20).map(float)),
            give_up_s=draw(st.integers(200, 900).map(float)),
            then=Then.MARK,
        )
        for name in draw(st.sampled_from((NAMES, NAMES[:1])))
    ]
    return course, tuple(gates)


@settings(max_examples=60, deadline=None)
@given(cool_downs())
def test_a_bound_out_of_reach_is_foreseen_at_the_same_look(
    given_up: tuple[Course, tuple[Gate, ...]],
) -> None:
    course, asked = given_up
    foreseen, at_s = waiting(GateWatch(asked, ()), course)
    if near_an_edge(course, [gate.bound for gate in asked], at_s):
        return
    watch, tick = GateWatch(asked, ()), 0
    while (seen := watch.feed(sample(course, float(tick)), waited_s=float(tick))) is None:
        tick += 1
        assert tick <= at_s + 1, f"foreseen at {at_s}: {foreseen}"
    assert (type(seen), tick) == (type(foreseen), at_s)
    if isinstance(seen, GateGaveUp) and isinstance(foreseen, GateGaveUp):
        assert seen.gate == foreseen.gate
        assert (seen.floor is None) == (foreseen.floor is None)
        if seen.floor is not None and foreseen.floor is not None:
            for name in ("value_c", "low_c", "high_c", "by_s", "made_at_s"):
                one, other = getattr(seen.floor, name), getattr(foreseen.floor, name)
                assert math.isclose(one, other, rel_tol=1e-6, abs_tol=1e-3), name
