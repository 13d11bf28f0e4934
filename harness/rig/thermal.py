"""Newton's law of cooling, and when a bound is met on the way: in closed form.

Pure. T(t) = R + (T0 - R) exp(-t / tau), with R the room's temperature at rest and the part's
steady temperature under load; a chip on a heatsink has two such terms, as a real card showed:
15 °C are gone within a second, and what is left takes a minute. A part is looked at on ticks
of one second, as the real sampler does; each crossing is worked out from the law, never by
stepping through the ticks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from harness.plan.document import Bound
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading

Read = Callable[[str], Reading]
NEVER = math.inf
#: The longest time constant of a chip's own heat, seconds. A look at a wait comes after 30 s and
#: is at its later half, where less than a thousandth of such a step is left.
MOST_STEP_S = 2.0
_HALVINGS = 60  #: of a wait: to the last digit


@dataclass(frozen=True, slots=True, kw_only=True)
class Thermal:
    """One part that warms up under load and cools at rest, all in °C and seconds.

    A chip gives its heat to a heatsink, and that gives it to the room: of the way from rest to
    load ``step_c`` is the chip's own, over its heatsink, and comes and goes with the time
    constant ``step_s``; the rest is the heatsink's, with ``tau_s``. With a step of 0 the part
    follows one law.

    Attributes:
        room_c: Temperature at rest.
        hot_c: Steady temperature under load.
        tau_s: Time constant of the heatsink.
        step_c: At most the whole way from rest to load.
        step_s: At most ``MOST_STEP_S``: at the first look at a wait the step is long gone.
    """

    room_c: float
    hot_c: float
    tau_s: float
    step_c: float = 0.0
    step_s: float = 0.5

    def __post_init__(self) -> None:
        if not 0.0 <= self.step_c <= max(0.0, self.hot_c - self.room_c):
            raise ValueError(f"a step of {self.step_c} °C is more than the part warms up")
        if not 0.0 < self.step_s <= MOST_STEP_S:
            raise ValueError(f"a step within {self.step_s} s is not one within {MOST_STEP_S} s")

    def after(self, start_c: float, seconds: float, *, loaded: bool, chip_c: float = 0.0) -> float:
        """Return the temperature *seconds* after *start_c*, of which *chip_c* is the chip's own.

        T(t) = R + S exp(-t / tau) + C exp(-t / step), with S and C how far heatsink and chip
        are then from where they go.
        """
        rest = self.hot_c if loaded else self.room_c
        slow, fast = self._apart(start_c, chip_c, loaded=loaded)
        slow *= math.exp(-seconds / self.tau_s)
        return rest + slow + (fast * math.exp(-seconds / self.step_s) if fast else 0.0)

    def chip_after(self, start_c: float, seconds: float, *, loaded: bool, chip_c: float) -> float:
        """Return how much of the temperature *seconds* later is the chip's own."""
        _, fast = self._apart(start_c, chip_c, loaded=loaded)
        return (self.step_c if loaded else 0.0) + fast * math.exp(-seconds / self.step_s)

    def chip_at(self, start_c: float) -> float:
        """Return how much of *start_c* is the chip's own, where nothing says: as under load.

        It is what no heatsink of this part ever has.
        """
        return max(0.0, start_c - (self.hot_c - self.step_c)) if self.step_c else 0.0

    def reaches(
        self, start_c: float, target_c: float, *, loaded: bool, chip_c: float = 0.0
    ) -> float:
        """Return the seconds until the temperature is at *target_c*; 0 if it is, inf if never.

        With one law t = tau ln((T0 - R) / (T - R)); with both the same bounds the instant from
        above, with all the way gone at the slower rate, and bisection finds it.
        """
        rest = self.hot_c if loaded else self.room_c
        span, left = start_c - rest, target_c - rest
        if start_c == target_c:
            return 0.0
        if span == 0 or left / span <= 0 or abs(left) > abs(span):
            return NEVER
        slow, fast = self._apart(start_c, chip_c, loaded=loaded)
        if fast == 0:
            return self.tau_s * math.log(span / left)
        if slow == 0:
            return self.step_s * math.log(span / left)
        here, there = 0.0, max(self.tau_s, self.step_s) * math.log(span / left)
        for _ in range(_HALVINGS):
            middle = (here + there) / 2
            now = slow * math.exp(-middle / self.tau_s) + fast * math.exp(-middle / self.step_s)
            here, there = (middle, there) if abs(now) > abs(left) else (here, middle)
        return there

    def _apart(self, start_c: float, chip_c: float, *, loaded: bool) -> tuple[float, float]:
        """Return how far heatsink and chip are from where they go, °C.

        Both go the same way, unless a start was made up that no load and no rest leaves: then
        the farther takes the other along, so that a temperature only rises or only falls.
        """
        rest, own = (self.hot_c, self.step_c) if loaded else (self.room_c, 0.0)
        fast = chip_c - own
        slow = start_c - rest - fast
        if slow * fast < 0:
            return (slow + fast, 0.0) if abs(slow) > abs(fast) else (0.0, slow + fast)
        return slow, fast

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
    #: How much of a temperature is the chip's own, where that is known.
    chips: Mapping[str, float] = field(default_factory=dict)

    def start_c(self, name: str) -> float:
        """Return the temperature of a part now."""
        return self.temperatures.get(name, self.parts[name].room_c)

    def chip_c(self, name: str) -> float:
        """Return how much of the temperature of a part is now the chip's own."""
        known = self.chips.get(name)
        return self.parts[name].chip_at(self.start_c(name)) if known is None else known

    def value(self, name: str, after_s: float) -> float | bool | str | tuple[str, ...] | None:
        """Return the value of a reading *after_s* seconds from now; None: not measured."""
        part = self.parts.get(name)
        if part is None:
            return self.read(name).value
        start_c, chip_c = self.start_c(name), self.chip_c(name)
        return part.after(start_c, after_s, loaded=self.loaded, chip_c=chip_c)

    def measured(self, name: str) -> bool:
        """Return whether a reading has a value; one that has none gets none on the way."""
        return name in self.parts or self.read(name).measured

    def met_ticks(self, bound: Bound) -> tuple[float, float]:
        """Return the first and the last tick at which *bound* is met; (inf, -1): at none."""
        part = self.parts.get(bound.reading)
        if part is None:
            always = met(bound, self.read(bound.reading)) is Met.MET
            return (0.0, NEVER) if always else (NEVER, -1.0)
        start, chip_c = self.start_c(bound.reading), self.chip_c(bound.reading)
        first, last = 0.0, NEVER
        for edge, below in ((bound.at_most, True), (bound.at_least, False)):
            if edge is None:
                continue
            crossing = part.reaches(start, edge, loaded=self.loaded, chip_c=chip_c)
            if not (start <= edge if below else start >= edge):
                first = max(first, tick(crossing))
            elif crossing != NEVER and part.leaves(edge, below=below, loaded=self.loaded):
                last = min(last, float(math.floor(crossing)))
        return (first, last) if first <= last else (NEVER, -1.0)


def tick(seconds: float) -> float:
    """Return the first tick at or after *seconds*."""
    return seconds if seconds == NEVER else float(math.ceil(seconds - 1e-9))
