"""Crossings foreseen: what a watch would say, worked out without feeding it a sample.

Pure. The same answers, on the same ticks, as ``harness.rules.watches`` gives sample by
sample; a contract test holds both against each other.
"""

from __future__ import annotations

from harness.plan.document import Bound, Gate, Guard, Limit
from harness.plan.words import words
from harness.rig.bounds import excess
from harness.rig.crossings import (
    GateGaveUp,
    GatesOpened,
    GuardBreached,
    LimitBreached,
    WaitWatch,
)
from harness.rig.readings import Value
from harness.rig.thermal import NEVER, Course, tick


def waiting(
    watch: WaitWatch, course: Course
) -> tuple[GatesOpened | GateGaveUp | LimitBreached, float]:
    """Return how a wait ends, and after how many seconds."""
    spans = [course.met_ticks(gate.bound) for gate in watch.gates]
    holds = (tick(a + gate.for_s) for gate, (a, _) in zip(watch.gates, spans, strict=True))
    opens = max(holds, default=0.0)
    if any(opens > last for _, last in spans):
        opens = NEVER
    best: tuple[float, GatesOpened | GateGaveUp | LimitBreached] = (
        opens,
        GatesOpened(waited_s=opens),
    )
    longest_s = max((gate.give_up_s for gate in watch.gates), default=0.0)
    late = [
        (*_gives_up(gate, span, longest_s=longest_s), number)
        for number, (gate, span) in enumerate(zip(watch.gates, spans, strict=True))
    ]
    at, _, number = min(late, default=(NEVER, NEVER, -1))
    if at < opens:
        best = (at, _gave_up(number, watch.gates[number].bound, at, course))
    for limit in watch.limits:
        breach = _limit(limit, course, until_s=best[0])
        if breach is not None:
            best = (breach.at_s, breach)
    assert best[0] != NEVER, "a gate without an end to its patience"
    return best[1], best[0]


def limit_in_pass(limit: Limit, wall_s: float, course: Course) -> LimitBreached | None:
    """Return the breach of *limit* within a pass of *wall_s*, or None."""
    return _limit(limit, course, until_s=wall_s)


def guard_in_pass(number: int, guard: Guard, wall_s: float, course: Course) -> GuardBreached | None:
    """Return the breach of *guard* over the ticks of a pass of *wall_s*, or None."""
    ticks = int(wall_s) + 1
    bound = guard.bound
    share, failed, seen = None, 0, 0
    worst: Value | None = None
    if course.value(bound.reading, 0.0) is not None:
        first, last = course.met_ticks(bound)
        before = int(min(first, ticks))
        after = max(0, ticks - 1 - int(min(last, ticks - 1))) if before < ticks else 0
        failed, seen = before + after, ticks
        share = failed / ticks
        if not _fails(guard, share=share, row_s=max(before, after) - 1):
            return None
        worst = _worst(bound, ticks, course)
    return GuardBreached(
        guard=number,
        reading=bound.reading,
        bound=words(bound),
        share=share,
        samples=failed,
        measured=seen,
        worst=", ".join(worst) if isinstance(worst, tuple) else worst,
        unit=bound.unit,
    )


def _gives_up(gate: Gate, span: tuple[float, float], *, longest_s: float) -> tuple[float, float]:
    """Return the tick at which *gate* gives up if nothing opens before, and its deadline.

    A gate that has held is given its time anew from the sample that broke it, but never
    beyond the longest of all.
    """
    first, last = span
    holds = tick(first + gate.for_s)
    deadline = gate.give_up_s
    if holds > tick(deadline) or holds > last:
        return tick(deadline), deadline
    deadline = min(last + 1 + gate.give_up_s, longest_s)
    return max(last + 1, tick(deadline)), deadline


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
