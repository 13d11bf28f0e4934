"""What a rehearsal takes for granted: how long passes take, how parts warm up and cool.

Pure. Taken from earlier passes on the rig where there are any, else from the plan, else
assumed; which of these is said with every number.

A part's temperature follows Newton's law of cooling, T(t) = R + (T0 - R) exp(-t / tau). From
earlier passes R is the lowest value that was read, the temperature under load the median of
each pass's highest, and tau the median of w / ln((Te - R) / (Ts - R)) over all waits w
between a pass that reached Te and the next, that began at Ts.

Part of a chip's heat is gone at once (``harness.rig.thermal``): where waits of different
lengths are told much better with a step taken off each Te first, the part has that step.
After 2 s of wait alone a card of 18 s would seem to be one of 3 s.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from harness.plan.cells import cells
from harness.plan.document import Bound, Level, Plan, Title
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading, Value
from harness.rig.thermal import Thermal
from harness.store.seen import HeatSeen
from harness.summary.earlier import Earlier, Scene

#: A part of which nothing is known: °C at rest and under load, and seconds. Common practice,
#: no source.
REST_C, LOADED_C, TAU_S = 24.0, 75.0, 90.0

#: A wait shorter than this says little of how a part cools.
_LEAST_WAIT_S = 3.0
#: What a step must bring the waits nearer to what was read, °C on average; and the steps tried.
_BETTER_C, _STEPS = 1.0, 40
#: Temperatures nearer to rest than this say nothing, a sensor being good for a degree.
_LEAST_ABOVE_C = 2.0

_Fall = tuple[float, float, float]  #: a wait in seconds, °C above rest before it and after it


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """How long a pass of one title and scene is taken to be.

    Args:
        title: The title.
        scene: The scene.
        seconds: The mean over its cells.
        passes: Earlier passes it is taken from; 0: it is the plan's.
        bounded: Whether it is only the time limit, the most it can take.
    """

    title: str
    scene: str
    seconds: float
    passes: int
    bounded: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """How one part is taken to warm up and cool.

    Args:
        reading: Its reading.
        thermal: Temperatures and time constant.
        passes: Earlier passes the temperatures are taken from; 0: they are assumed.
        waits: Waits the time constant is taken from; 0: it is assumed.
    """

    reading: str
    thermal: Thermal
    passes: int
    waits: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumed:
    """Everything a rehearsal takes for granted.

    Args:
        seconds: Cell key -> length of a pass, its wait aside.
        lengths: The same by title and scene, with where it comes from, in plan order.
        parts: Parts that warm up, with where that comes from.
        constants: Readings that are taken to stay as the plan wants them.
        by_level: Condition and level -> what the level makes of some of the constants while
            it is in force.
    """

    seconds: Mapping[str, float]
    lengths: tuple[Length, ...]
    parts: tuple[Part, ...]
    constants: Mapping[str, Value]
    by_level: Mapping[tuple[str, str], Mapping[str, Value]]


def assumed(plan: Plan, *, earlier: Earlier | None, heat: Iterable[HeatSeen]) -> Assumed:
    """Return what a rehearsal of *plan* takes for granted.

    Args:
        plan: The plan.
        earlier: What earlier passes of its cells say; None: there are none.
        heat: How warm parts were around earlier passes, in order.
    """
    seen = earlier.commands if earlier is not None else {}
    counts = earlier.counts if earlier is not None else {}
    titles = {(title.title, title.scene): title for title in plan.titles}
    own: dict[Scene, list[float]] = {}
    for cell in cells(plan):
        if cell.key in seen:
            own.setdefault((cell.title, cell.scene), []).append(seen[cell.key])
    means = {scene: sum(values) / len(values) for scene, values in own.items()}
    seconds = {}
    for cell in cells(plan):
        scene = (cell.title, cell.scene)
        usual = means.get(scene)
        if usual is None:
            usual = planned_s(titles[scene])
        seconds[cell.key] = seen.get(cell.key, usual)
    lengths = tuple(
        Length(
            title=title.title,
            scene=title.scene,
            seconds=means.get(scene, planned_s(title)),
            passes=counts.get(scene, 0) if scene in means else 0,
            bounded=scene not in means and title.cut.length_s is None,
        )
        for scene, title in titles.items()
    )
    told = [*heat]
    warm = {
        bound.reading: _part(bound.reading, [x for x in told if x.reading == bound.reading], plan)
        for bound in _bounds(plan)
        if bound.unit == "°C" and not bound.reading.startswith("room.")
    }
    constants = _constants(plan)
    return Assumed(
        seconds=seconds,
        lengths=lengths,
        parts=tuple(warm.values()),
        constants=constants,
        by_level=_by_level(plan, constants),
    )


def heated(plan: Plan) -> tuple[str, ...]:
    """Return the temperatures that gates, guards and limits of *plan* speak of."""
    return tuple(dict.fromkeys(b.reading for b in _bounds(plan) if b.unit == "°C"))


def planned_s(title: Title) -> float:
    """Return how long a pass is by the plan alone: the scene's length, else the time limit."""
    cut = title.cut
    if cut.length_s is None:
        return title.command.time_limit_s
    return min(cut.from_s + cut.length_s, title.command.time_limit_s)


def _bounds(plan: Plan, level: Level | None = None) -> tuple[Bound, ...]:
    """Return the bounds of gates, guards and limits, of *level* alone or of every level."""
    every = [level for condition in plan.conditions for level in condition.levels]
    return (
        *(gate.bound for gate in plan.gates),
        *(guard.bound for guard in plan.guards),
        *(limit.bound for limit in plan.limits or ()),
        *(limit.bound for one in (every if level is None else [level]) for limit in one.limits),
    )


def _part(reading: str, heat: Sequence[HeatSeen], plan: Plan) -> Part:
    most = [each.most_c for each in heat if each.most_c is not None]
    all_c = [c for each in heat for c in (each.before_c, each.least_c, each.most_c)
             if c is not None]  # fmt: skip
    if not most or max(most) - min(all_c) < _LEAST_ABOVE_C:
        rest, loaded = _supposed(reading, plan)
        thermal = Thermal(room_c=rest, hot_c=loaded, tau_s=TAU_S)
        return Part(reading=reading, thermal=thermal, passes=0, waits=0)
    rest, loaded = min(all_c), statistics.median(most)
    falls = [*_falls(heat, rest)]
    step, taus = _stages(falls, most_c=max(0.0, loaded - rest))
    tau = statistics.median(taus) if taus else TAU_S
    thermal = Thermal(room_c=rest, hot_c=loaded, tau_s=tau, step_c=step)
    return Part(reading=reading, thermal=thermal, passes=len(most), waits=len(taus))


def _falls(heat: Sequence[HeatSeen], rest_c: float) -> Iterable[_Fall]:
    for before, after in itertools.pairwise(heat):
        if before.most_c is None or after.before_c is None or after.waited_s < _LEAST_WAIT_S:
            continue
        start, end = before.most_c - rest_c, after.before_c - rest_c
        if start > end + 0.5 and end >= _LEAST_ABOVE_C:
            yield after.waited_s, start, end


def _stages(falls: Sequence[_Fall], *, most_c: float) -> tuple[float, list[float]]:
    """Return what is gone at once, °C, and the time constant of each fall after that.

    Waits of one length cannot tell a step from a short time constant: then there is none.
    """
    plain = _taus(falls, 0.0)
    best = (_off(falls, 0.0, plain) - _BETTER_C, 0.0, plain)
    for n in range(1, _STEPS):
        step = most_c * n / _STEPS
        taus = _taus(falls, step)
        if len(taus) == len(plain) > 1:
            best = min(best, (_off(falls, step, taus), step, taus))
    return best[1], best[2]


def _taus(falls: Sequence[_Fall], step_c: float) -> list[float]:
    return [
        waited_s / math.log((start - step_c) / end)
        for waited_s, start, end in falls
        if start - step_c > end + 0.5
    ]


def _off(falls: Sequence[_Fall], step_c: float, taus: Sequence[float]) -> float:
    """Return how far the falls lie off their common law, °C on average."""
    if not taus:
        return 0.0
    tau = statistics.median(taus)
    off = [abs((start - step_c) * math.exp(-w / tau) - end) for w, start, end in falls]
    return sum(off) / len(off)


def _supposed(reading: str, plan: Plan) -> tuple[float, float]:
    """Return °C at rest and under load of which the plan's gates and limits can be met."""
    gates = [gate.bound for gate in plan.gates if gate.bound.reading == reading]
    rest = min([REST_C, *(b.at_most - 6.0 for b in gates if b.at_most is not None)])
    loaded = max([LOADED_C, *(b.at_most + 5.0 for b in gates if b.at_most is not None)])
    others = [b for b in _bounds(plan) if b.reading == reading and b not in gates]
    loaded = min([loaded, *(b.at_most - 5.0 for b in others if b.at_most is not None)])
    return rest, max(loaded, rest)


def _constants(plan: Plan) -> dict[str, Value]:
    """Return a value for every other reading that meets all that the plan asks of it.

    What a level sets is among them: gates, guards and limits watch it under the other levels, too.
    """
    found: dict[str, Value] = {}
    for name in dict.fromkeys(bound.reading for bound in _bounds(plan)):
        own = [bound for bound in _bounds(plan) if bound.reading == name]
        if own[0].unit == "°C" and not name.startswith("room."):
            continue
        found[name] = _meeting(own)
    return found


def _by_level(
    plan: Plan, constants: Mapping[str, Value]
) -> dict[tuple[str, str], dict[str, Value]]:
    """Return what each level makes of *constants*: what it expects, within the plan's bounds.

    Where no value is both, it is as the level wants it: then the plan holds the rig, or loses
    its passes, on a real night too.
    """
    found: dict[tuple[str, str], dict[str, Value]] = {}
    for condition in plan.conditions:
        for level in condition.levels:
            wanted = (*level.expect, *level.needs)
            for name in dict.fromkeys(b.reading for b in wanted if b.reading in constants):
                own = [bound for bound in wanted if bound.reading == name]
                others = [bound for bound in _bounds(plan, level) if bound.reading == name]
                both = _meeting([*own, *others])
                value = both if _meets(own, both) else _meeting(own)
                found.setdefault((condition.name, level.name), {})[name] = value
    return found


def _meets(bounds: Sequence[Bound], value: Value) -> bool:
    return all(
        met(bound, Reading(name=bound.reading, unit=bound.unit, value=value)) is Met.MET
        for bound in bounds
    )


def _meeting(bounds: Sequence[Bound]) -> Value:
    for bound in bounds:
        if bound.equals is not None:
            return bound.equals
        if bound.holds is not None:
            return tuple(each.holds for each in bounds if each.holds is not None)
    least = max((b.at_least for b in bounds if b.at_least is not None), default=None)
    most = min((b.at_most for b in bounds if b.at_most is not None), default=None)
    if least is None:
        assert most is not None, "a bound bounds something"
        return most / 2.0 if most > 0 else most
    return least if most is None else (least + most) / 2.0
