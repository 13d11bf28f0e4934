"""Crossings foreseen: what a watch would say, worked out without feeding it a sample.

Pure. The same answers, on the same ticks, as the watches of ``harness.rules`` give
sample by sample; a contract test holds both against each other.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from harness.plan.document import Bound, Gate, Guard, Limit
from harness.plan.words import allowance, words
from harness.rig.bounds import excess
from harness.rig.crossings import (
    GateGaveUp,
    GatesOpened,
    GuardBreached,
    LimitBreached,
    TooCold,
    WaitWatch,
    WatchEnd,
)
from harness.rig.readings import Value
from harness.rig.thermal import NEVER, Course, tick

#: First and last tick of an unbroken stretch; (inf, -1): none.
Span = tuple[float, float]


def waiting(watch: WaitWatch, course: Course) -> tuple[WatchEnd, float]:
    """Return how a wait ends, and after how many seconds."""
    spans = [course.met_ticks(gate.bound) for gate in watch.gates]
    holds = [tick(a + gate.for_s) for gate, (a, _) in zip(watch.gates, spans, strict=True)]
    opens = max(holds, default=0.0)
    if any(opens > last for _, last in spans):
        opens = NEVER
    best: tuple[float, WatchEnd] = (opens, GatesOpened(waited_s=opens))
    at, number = _cold_from(watch.gates, spans, holds, course)
    if at < best[0]:
        best = (at, _too_cold(number, watch.gates[number].bound, at, course))
    longest_s = max((gate.give_up_s for gate in watch.gates), default=0.0)
    late = [
        (*_gives_up(gate, span, longest_s=longest_s), number)
        for number, (gate, span) in enumerate(zip(watch.gates, spans, strict=True))
    ]
    at, _, number = min(late, default=(NEVER, NEVER, -1))
    gone = next((n for n, g in enumerate(watch.gates) if not course.measured(g.bound.reading)), -1)
    if gone >= 0 and at > tick(watch.lost_s):
        at, number = tick(watch.lost_s), gone
    if at < best[0]:
        best = (at, _gave_up(number, watch.gates[number].bound, at, course))
    early = _gives_up_early(watch, spans, longest_s=longest_s, before_s=best[0], course=course)
    best = best if early is None else early
    for limit in watch.limits:
        breach = _limit(limit, course, until_s=best[0])
        if breach is not None:
            best = (breach.at_s, breach)
    assert best[0] != NEVER, "a gate without an end to its patience"
    return best[1], best[0]


def _cold_from(
    gates: tuple[Gate, ...], spans: list[Span], holds: list[float], course: Course
) -> tuple[float, int]:
    """Return the first tick at which the wait ends to preload a part, and the gate that says so.

    By then every gate holds or is below a band that it may preload into. Both are unbroken
    stretches of ticks, so that it first happens where one of them begins.
    """
    if not any(gate.preload for gate in gates):
        return NEVER, -1
    held = [(opens, last) for opens, (_, last) in zip(holds, spans, strict=True)]
    cold = [_cold_ticks(gate, course) for gate in gates]
    for at in sorted({begin for begin, _ in (*held, *cold) if begin != NEVER}):
        waits = [n for n, (begin, last) in enumerate(held) if not begin <= at <= last]
        if waits and all(cold[n][0] <= at <= cold[n][1] for n in waits):
            return at, waits[0]
    return NEVER, -1


def _cold_ticks(gate: Gate, course: Course) -> Span:
    """Return the first and last tick at which a part is below its band; (inf, -1): never."""
    bound = gate.bound
    value = course.value(bound.reading, 0.0)
    if not gate.preload or bound.at_least is None or not isinstance(value, float):
        return NEVER, -1.0
    first, last = course.met_ticks(replace(bound, at_most=None))
    if value < bound.at_least:
        return 0.0, first - 1
    return (NEVER, -1.0) if last == NEVER else (last + 1, NEVER)


def _too_cold(number: int, bound: Bound, at: float, course: Course) -> TooCold:
    value = course.value(bound.reading, at)
    assert isinstance(value, float)
    return TooCold(
        gate=number,
        reading=bound.reading,
        bound=words(bound),
        value=value,
        unit=bound.unit,
        waited_s=at,
    )


def _gives_up_early(
    watch: WaitWatch,
    spans: list[Span],
    *,
    longest_s: float,
    before_s: float,
    course: Course,
) -> tuple[float, GateGaveUp] | None:
    """Return the first look that finds a bound out of reach, before the wait ends otherwise."""
    if all(
        last == NEVER and first <= gate.give_up_s - gate.for_s
        for gate, (first, last) in zip(watch.gates, spans, strict=True)
    ):
        return None  # every bound is reached in time and not left again: no look denies that
    for at in watch.looks():
        if at >= before_s:
            return None
        for number, (gate, span) in enumerate(zip(watch.gates, spans, strict=True)):
            bound = gate.bound
            value = course.value(bound.reading, at)
            cold = gate.preload and isinstance(value, float) and value < (bound.at_least or value)
            if bound.unit != "°C" or not isinstance(value, float) or cold:
                continue
            if span[0] <= at <= span[1]:
                continue
            by_s = _deadline(gate, span, at=at, longest_s=longest_s) - gate.for_s
            if at < span[0] <= by_s:
                continue  # reached in time, which a fit of this very course cannot deny
            floor = watch.foresees(
                number, partial(_number, course, bound.reading), at_s=at, by_s=by_s
            )
            if floor is not None:
                return at, replace(_gave_up(number, bound, at, course), floor=floor)
    return None


def _number(course: Course, reading: str, at: float) -> float:
    value = course.value(reading, at)
    assert isinstance(value, float)
    return value


def limit_in_pass(limit: Limit, wall_s: float, course: Course) -> LimitBreached | None:
    """Return the breach of *limit* within a pass of *wall_s*, or None."""
    return _limit(limit, course, until_s=wall_s)


def guard_in_pass(number: int, guard: Guard, wall_s: float, course: Course) -> GuardBreached | None:
    """Return the breach of *guard* over the ticks of a pass of *wall_s*, or None."""
    ticks = int(wall_s) + 1
    bound = guard.bound
    share, failed, measured, row_s = None, 0, 0, 0
    worst: Value | None = None
    if course.value(bound.reading, 0.0) is not None:
        first, last = course.met_ticks(bound)
        before = int(min(first, ticks))
        after = max(0, ticks - 1 - int(min(last, ticks - 1))) if before < ticks else 0
        failed, measured = before + after, ticks
        share, row_s = failed / ticks, max(before, after, 1) - 1
        if not _fails(guard, share=share, row_s=row_s):
            return None
        worst = _worst(bound, ticks, course)
    return GuardBreached(
        guard=number,
        reading=bound.reading,
        bound=words(bound),
        share=share,
        samples=failed,
        measured=measured,
        worst=", ".join(worst) if isinstance(worst, tuple) else worst,
        unit=bound.unit,
        allowed=allowance(guard),
        why=None if measured else course.read(bound.reading).why,
        seen=ticks,
        longest_s=float(row_s),
    )


def _gives_up(gate: Gate, span: Span, *, longest_s: float) -> tuple[float, float]:
    """Return the tick at which *gate* gives up if nothing opens before, and its deadline.

    A gate that has held is given its time anew from the sample that broke it, but never
    beyond the longest of all.
    """
    last = span[1]
    deadline = _deadline(gate, span, at=NEVER, longest_s=longest_s)
    if not _will_hold(gate, span):
        return tick(deadline), deadline
    return max(last + 1, tick(deadline)), deadline


def _will_hold(gate: Gate, span: Span) -> bool:
    holds = tick(span[0] + gate.for_s)
    return holds <= tick(gate.give_up_s) and holds <= span[1]


def _deadline(gate: Gate, span: Span, *, at: float, longest_s: float) -> float:
    """Return until when *gate* has time, as it stands at the tick *at*."""
    last = span[1]
    if at <= last or not _will_hold(gate, span):
        return gate.give_up_s
    return min(last + 1 + gate.give_up_s, longest_s)


def _gave_up(number: int, bound: Bound, at: float, course: Course) -> GateGaveUp:
    value = course.value(bound.reading, at)
    return GateGaveUp(
        gate=number,
        reading=bound.reading,
        bound=words(bound),
        value=", ".join(value) if isinstance(value, tuple) else value,
        unit=bound.unit,
        why=course.read(bound.reading).why,
        waited_s=at,
        lost=value is None,
    )


def _limit(limit: Limit, course: Course, *, until_s: float) -> LimitBreached | None:
    first, last = course.met_ticks(limit.bound)
    if (first, last) == (0.0, NEVER):
        return None
    at = 0.0 if first > 0 else last + 1
    if at > until_s:
        return None
    value = course.value(limit.bound.reading, at)
    return LimitBreached(
        reading=limit.bound.reading,
        unit=limit.bound.unit,
        bound=words(limit.bound),
        value=None if value is None or isinstance(value, (str, tuple)) else float(value),
        why=course.read(limit.bound.reading).why,
        at_s=at,
    )


def _worst(bound: Bound, ticks: int, course: Course) -> Value | None:
    """Return the value furthest outside *bound*: a monotone course has it at an end."""
    ends = (course.value(bound.reading, 0.0), course.value(bound.reading, ticks - 1))
    numbers = [v for v in ends if isinstance(v, float) and not isinstance(v, bool)]
    return max(numbers, key=lambda value: excess(bound, value)) if numbers else ends[0]


def _fails(guard: Guard, *, share: float, row_s: float) -> bool:
    if guard.share is None and guard.for_s is None:
        return share > 0
    if guard.share is not None and share > guard.share:
        return True
    return guard.for_s is not None and row_s > guard.for_s
