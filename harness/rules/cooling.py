"""When a part that a gate waits for will be inside its bound, if ever.

Pure. Newton's law (``harness.rules.newton``) is fitted to the later half of the wait: a part
that has just been under load gives up its heat by more than one path at first, and by the
slowest alone later. A bound is out of reach if no law that fits about as well comes to it
in the time the gate has left; nothing is said on a poor fit, nor of a part that goes the
other way, since what drives it may end.

So a gate gives up late rather than wrongly: of 150 made falls with two time constants, all
of which reached their bound in time, none was given up; half an error less gave up 13. Of
another 150 the law that foretells the time, see below, gave up 99.

When the bound will be reached is foretold from more of the wait, since little is lost by a
wrong forecast and the later half alone often bends too little to tell the end: all but the
first eighth, where one law fits that (a chip's own heat is gone in a second or two, and
the heatsink is what is waited for), else but the first quarter, else the later half. A
sensor of whole degrees shows a value from half a degree above it on.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterator, Sequence

from harness.plan.document import Bound, Gate
from harness.rig.crossings import Floor
from harness.rules.newton import LEAST_ERROR_C, Fit, Point, fit, fitted, parts, surely_reaches

#: Shares of a wait that are left out at its beginning, until one law fits the rest.
_LEFT_OUT = (1 / 8, 1 / 4)
#: One law fits where the points lie so far off it (root mean square), and those of the later
#: half so far to one side, °C. What a step of a whole degree hides is 1 / sqrt(12) = 0.29.
_FITS_C, _ASIDE_C = 0.4, 0.2


def checks() -> Iterator[float]:
    """Yield when a wait is looked at, in seconds: often at first, then at every fifth more."""
    at_s = 30.0
    while True:
        yield at_s
        at_s = max(at_s + 10.0, float(math.ceil(1.2 * at_s)))


def edge_ahead(bound: Bound, value_c: float) -> float | None:
    """Return the edge of *bound* that a part at *value_c* must cross; None: it is inside."""
    if bound.at_most is not None and value_c > bound.at_most:
        return bound.at_most
    if bound.at_least is not None and value_c < bound.at_least:
        return bound.at_least
    return None


def out_of_reach(seen: Fit, *, edge_c: float, by_s: float) -> Floor | None:
    """Return where a part will be at *by_s*, if it cannot be at *edge_c* by then; else None.

    Said only of a part that is on its way to the edge or stands still: one that goes the
    other way is driven by something that may end.
    """
    if by_s <= seen.last_s:
        return None
    falling = seen.at(seen.last_s) > edge_c
    moved = seen.at(seen.last_s) - seen.at(seen.first_s)
    if (moved if falling else -moved) > LEAST_ERROR_C:
        return None
    low, high = seen.interval(by_s)
    if not (low > edge_c if falling else high < edge_c):
        return None
    return Floor(value_c=seen.at(by_s), low_c=low, high_c=high, by_s=by_s, made_at_s=seen.last_s)


class Cooling:
    """The temperature that one gate waits for, looked at now and then. Fed by its watch."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate
        self._samples: list[Point] = []
        self._checks = checks()
        self._next_s = next(self._checks)
        self.seen: Fit | None = None  #: the latest fit; None where there is none or a poor one
        self._looked_s: float | None = None
        self._foretold: tuple[float, Fit | None] | None = None  #: of which look, and from what

    def feed(self, value_c: float, *, waited_s: float, deadline_s: float) -> Floor | None:
        """Take one value; return where it will end if the gate cannot hold by *deadline_s*."""
        self._samples.append((waited_s, value_c))
        if waited_s < self._next_s:
            return None
        while self._next_s <= waited_s:
            self._next_s = next(self._checks)
        self._looked_s, half = waited_s, waited_s / 2
        self.seen = fit([point for point in self._samples if point[0] >= half])
        return judged(self._gate, self.seen, value_c, by_s=deadline_s - self._gate.for_s)

    def left_s(self, waited_s: float) -> float | None:
        """Return in how many seconds the edge ahead is reached by the best law; None: unknown.

        Unknown, too, where more of the way is left than was gone in the later half of the
        wait: to foretell the far end of a curve from its beginning is to guess.
        """
        ahead = self.ahead()
        at_s = None if ahead is None else ahead[0].reaches(ahead[1])
        return None if at_s is None or at_s <= waited_s else at_s - waited_s

    def ahead(self) -> tuple[Fit, float] | None:
        """Return the law that foretells, and the temperature of it at which the edge is shown.

        None where nothing is foretold.
        """
        edge = edge_ahead(self._gate.bound, self._samples[-1][1]) if self._samples else None
        if edge is None or self._looked_s is None:
            return None
        looked_s = self._looked_s
        if self._foretold is None or self._foretold[0] != looked_s:
            seen = [point for point in self._samples if point[0] <= looked_s]
            self._foretold = looked_s, tail(seen, waited_s=looked_s)
        law = self._foretold[1]
        if law is None:
            return None
        here = law.at(law.last_s)
        way = abs(here - law.at(max(law.first_s, looked_s / 2)))
        shown = edge + math.copysign(step_c(self._samples) / 2, here - edge)
        return (law, shown) if abs(here - edge) <= way else None


def tail(samples: Sequence[Point], *, waited_s: float) -> Fit | None:
    """Return the law of as much of the end of a wait as follows one law; None: none fits."""
    for share in _LEFT_OUT:
        part = [point for point in samples if point[0] >= share * waited_s]
        found = fit(part)
        if found is None or found.rms_c > _FITS_C:
            continue
        aside = [c - found.at(t) for t, c in part if t >= waited_s / 2]
        if abs(statistics.fmean(aside)) <= _ASIDE_C:
            return found
    return fit([point for point in samples if point[0] >= waited_s / 2])


def step_c(samples: Sequence[Point]) -> float:
    """Return the step in which a sensor tells, °C: 1 if of whole degrees, else taken as 0."""
    return 1.0 if all(c.is_integer() for _, c in samples) else 0.0


def judged(gate: Gate, seen: Fit | None, value_c: float, *, by_s: float) -> Floor | None:
    """Return where a part at *value_c* will end, if *gate* cannot be met by *by_s*."""
    edge = edge_ahead(gate.bound, value_c)
    if seen is None or edge is None:
        return None
    return out_of_reach(seen, edge_c=edge, by_s=by_s)


def foreseen(
    gate: Gate, value_at: Callable[[float], float], *, at_s: float, by_s: float
) -> Floor | None:
    """Return what the look at *at_s* says of a course that is known at every tick.

    The course only falls or only rises, so that a median is the value in the middle.
    """
    value_c = value_at(at_s)
    edge = edge_ahead(gate.bound, value_c)
    if edge is None or (value_at(by_s) > edge) != (value_c > edge):
        return None  # the law of the course itself is in the region, and comes to the edge
    first, last = math.ceil(at_s / 2), math.floor(at_s)
    if by_s <= last:
        return None
    size, start = parts(last - first + 1)
    points = []
    for n in range(first + start, last + 1, size):
        low, high = n + (size - 1) // 2, n + size // 2
        points.append(((low + high) / 2, (value_at(float(low)) + value_at(float(high))) / 2))
    if surely_reaches(points, edge, by_s, falling=value_c > edge):
        return None
    seen = fitted(points, first_s=float(first), last_s=float(last))
    return judged(gate, seen, value_c, by_s=by_s)
