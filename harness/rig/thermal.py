"""Newton's law of cooling, and when a bound is met on the way: in closed form.

Pure. T(t) = R + (T0 - R) exp(-t / tau), with R the room's temperature at rest and the part's
steady temperature under load. A part is looked at on ticks of one second, as the real
sampler does; each crossing is worked out from the logarithm, never by stepping through the
ticks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from harness.plan.document import Bound
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading

Read = Callable[[str], Reading]
NEVER = math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Thermal:
    """One part that warms up under load and cools at rest, all in °C and seconds."""

    room_c: float
    hot_c: float
    tau_s: float

    def after(self, start_c: float, seconds: float, *, loaded: bool) -> float:
        """Return the temperature *seconds* after *start_c*."""
        rest = self.hot_c if loaded else self.room_c
        return rest + (start_c - rest) * math.exp(-seconds / self.tau_s)

    def reaches(self, start_c: float, target_c: float, *, loaded: bool) -> float:
        """Return the seconds until the temperature is at *target_c*; 0 if it is, inf if never.

        t = tau ln((T0 - R) / (T - R)).
        """
        rest = self.hot_c if loaded else self.room_c
        span, left = start_c - rest, target_c - rest
        if start_c == target_c:
            return 0.0
        if span == 0 or left / span <= 0 or abs(left) > abs(span):
            return NEVER
        return self.tau_s * math.log(span / left)

    def leaves(self, edge_c: float, *, below: bool, loaded: bool) -> bool:
        """Return whether the temperature will end on the wrong side of *edge_c*."""
        rest = self.hot_c if loaded else self.room_c
        return rest > edge_c if below else rest < edge_c


@dataclass(frozen=True, slots=True)
class Course:
    """Where every reading of a rehearsed rig is now, and where it is going.

    Readings without a part stay what they are.
    """

    parts: Mapping[str, Thermal]
    temperatures: Mapping[str, float]
    read: Read
    loaded: bool

    def start_c(self, name: str) -> float:
        """Return the temperature of a part now."""
        return self.temperatures.get(name, self.parts[name].room_c)

    def value(self, name: str, after_s: float) -> float | bool | str | tuple[str, ...] | None:
        """Return the value of a reading *after_s* seconds from now; None: not measured."""
        part = self.parts.get(name)
        if part is None:
            return self.read(name).value
        return part.after(self.start_c(name), after_s, loaded=self.loaded)

    def met_ticks(self, bound: Bound) -> tuple[float, float]:
        """Return the first and the last tick at which *bound* is met; (inf, -1): at none."""
        part = self.parts.get(bound.reading)
        if part is None:
            always = met(bound, self.read(bound.reading)) is Met.MET
            return (0.0, NEVER) if always else (NEVER, -1.0)
        start = self.start_c(bound.reading)
        first, last = 0.0, NEVER
        for edge, below in ((bound.at_most, True), (bound.at_least, False)):
            if edge is None:
                continue
            crossing = part.reaches(start, edge, loaded=self.loaded)
            if not (start <= edge if below else start >= edge):
                first = max(first, tick(crossing))
            elif crossing != NEVER and part.leaves(edge, below=below, loaded=self.loaded):
                last = min(last, float(math.floor(crossing)))
        return (first, last) if first <= last else (NEVER, -1.0)


def tick(seconds: float) -> float:
    """Return the first tick at or after *seconds*."""
    return seconds if seconds == NEVER else float(math.ceil(seconds - 1e-9))
