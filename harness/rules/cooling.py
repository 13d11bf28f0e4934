"""When a part that a gate waits for will be inside its bound, if ever.

Pure. Newton's law (``harness.rules.newton``) is fitted to the later half of the wait: a part
that has just been under load gives up its heat by more than one path at first, and by the
slowest alone later. A bound is out of reach if no law that fits about as well comes to it
in the time the gate has left; nothing is said on a poor fit, nor of a part that goes the
other way, since what drives it may end.

So a gate gives up late rather than wrongly: of 150 made falls with two time constants, all
of which reached their bound in time, none was given up; half an error less gave up 13.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from harness.plan.document import Bound, Gate
from harness.rig.crossings import Floor
from harness.rules.newton import LEAST_ERROR_C, Fit, Point, fit, fitted, parts


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

    def feed(self, value_c: float, *, waited_s: float, deadline_s: float) -> Floor | None:
        """Take one value; return where it will end if the gate cannot hold by *deadline_s*."""
        self._samples.append((waited_s, value_c))
        if waited_s < self._next_s:
            return None
        while self._next_s <= waited_s:
            self._next_s = next(self._checks)
        half = waited_s / 2
        self.seen = fit([point for point in self._samples if point[0] >= half])
        return judged(self._gate, self.seen, value_c, by_s=deadline_s - self._gate.for_s)

    def left_s(self, waited_s: float) -> float | None:
        """Return in how many seconds the edge ahead is reached by the best law; None: unknown.

        Unknown, too, where more of the way is left than the law was fitted to: to foretell
        the far end of a curve from its beginning is to guess.
        """
        if self.seen is None:
            return None
        here = self.seen.at(self.seen.last_s)
        edge = edge_ahead(self._gate.bound, self._samples[-1][1])
        at_s = None if edge is None else self.seen.reaches(edge)
        if edge is None or at_s is None or at_s <= waited_s:
            return None
        way = abs(here - self.seen.at(self.seen.first_s))
        return at_s - waited_s if abs(here - edge) <= way else None


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
    size, start = parts(last - first + 1)
    points = []
    for n in range(first + start, last + 1, size):
        low, high = n + (size - 1) // 2, n + size // 2
        points.append(((low + high) / 2, (value_at(float(low)) + value_at(float(high))) / 2))
    seen = fitted(points, first_s=float(first), last_s=float(last))
    return judged(gate, seen, value_c, by_s=by_s)
