"""Whether a rig may start a run: its needs, and every reading that the plan relies on.

Pure. A required reading that is not measured refuses the run before its first pass, not at
three in the morning; so does a plan that says nothing of limits on a rig whose own
threshold cannot be read. Where it can be, it is the limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from harness.errors import Place, Problem
from harness.plan.document import At, Bound, Limit, Plan
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading, shown

#: Where the card slows itself down: the limit of its temperature where a plan gives none.
THRESHOLD = "gpu.temperature.slowdown"
_THREATENED = "gpu.temperature"


def relied_on(plan: Plan) -> tuple[str, ...]:
    """Return the names of all readings that gates, guards, limits and needs speak of.

    With a plan that does not speak of limits, also the card's temperature and its threshold.
    """
    bounds = (*_watched(plan), *(("need", bound) for bound in plan.rig.needs))
    default = (_THREATENED, THRESHOLD) if speaks_of_no_limits(plan) else ()
    return tuple(dict.fromkeys((*(bound.reading for _, bound in bounds), *default)))


def speaks_of_no_limits(plan: Plan) -> bool:
    """Return whether the limit is left to the card: neither limits nor ``limits: none``."""
    return plan.limits is None and not plan.limits_none


def with_limit(plan: Plan, threshold: Reading) -> tuple[Plan, str | None]:
    """Return *plan* with a limit, and in words whence, where its file does not give it.

    Where nothing was read, a plan that does not speak of limits stays without one: then it
    is not ready.

    Args:
        plan: A checked plan.
        threshold: The reading ``THRESHOLD``.
    """
    if not speaks_of_no_limits(plan) or not isinstance(threshold.value, float):
        return plan, None
    bound = Bound(reading=_THREATENED, unit=threshold.unit, at_most=threshold.value)
    whence = f"{THRESHOLD}, {shown(threshold)}: where the card slows itself down"
    return replace(plan, limits=(Limit(bound=bound),)), whence


def _watched(plan: Plan) -> Iterable[tuple[str, Bound]]:
    yield from (("gate", gate.bound) for gate in plan.gates)
    yield from (("guard", guard.bound) for guard in plan.guards)
    yield from (("limit", limit.bound) for limit in plan.limits or ())
    for condition in plan.conditions:
        for level in condition.levels:
            yield from (("limit", limit.bound) for limit in level.limits)


def spoken_of(plan: Plan) -> tuple[str, ...]:
    """Return the readings that are kept with every pass: those of the plan's own bounds."""
    bounds = (
        *(gate.bound for gate in plan.gates),
        *(guard.bound for guard in plan.guards),
        *(limit.bound for limit in plan.limits or ()),
        *plan.rig.needs,
    )
    return tuple(dict.fromkeys(bound.reading for bound in bounds))


def not_ready(plan: Plan, readings: Mapping[str, Reading], *, file: str) -> tuple[Problem, ...]:
    """Return why *plan* may not start on a rig with these *readings*; empty: it may.

    Args:
        plan: A checked plan.
        readings: One reading of every name in ``relied_on(plan)``.
        file: The plan's file, for the places.
    """
    problems = []
    for bound in plan.rig.needs:
        reading = readings[bound.reading]
        if met(bound, reading) is not Met.MET:
            problems.append(
                Problem(
                    code="need-not-met",
                    what=f"the plan needs {bound.reading} {words(bound)}; it is {shown(reading)}",
                    place=_place(file, bound.at),
                    do="bring the rig to what the plan needs, or correct rig.needs",
                )
            )
    for what, bound in _watched(plan):
        reading = readings[bound.reading]
        if not reading.measured:
            problems.append(
                Problem(
                    code="reading-not-measured",
                    what=f"a {what} relies on {bound.reading}, which is {shown(reading)}",
                    place=_place(file, bound.at),
                    do="see what can be read with `harness sensors`; take the "
                    f"{what} out, or name a reading that this rig has",
                )
            )
    for name in (_THREATENED, THRESHOLD) if speaks_of_no_limits(plan) else ():
        if readings[name].measured:
            continue
        problems.append(
            Problem(
                code="no-limit",
                what="the plan gives no limits, and the card's own cannot be used: "
                f"{name} is {shown(readings[name])}",
                place=Place(file=file),
                do="give a limit (limits: [{reading: gpu.temperature, at_most: 92 °C}]), or say "
                "`limits: none` and stay with the rig while it runs",
            )
        )
        break
    return tuple(problems)


def _place(file: str, at: At | None) -> Place:
    return Place(file=file, line=at.line, column=at.column) if at is not None else Place(file=file)
