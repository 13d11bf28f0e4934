"""Arithmetic on frame times with the standard library alone.

Pure. ``harness.rig.captures.wide`` does the same with numpy; both give the same digits, and
one suite of tests holds them to it. Values are lists of floats here.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate
from operator import sub

from harness.rig.captures.declared import UNITS
from harness.rig.captures.times import BLOCK_FRAMES, Blocks, ExactSum, alternates

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    KeepRun = Callable[[Sequence[float]], Sequence[float]]

INFINITE = float("inf")


def taken(values: Sequence[float]) -> list[float]:
    """Return *values* in the form that the other functions take."""
    return values if isinstance(values, list) else list(values)


def listed(values: list[float]) -> list[float]:
    """Return *values* as a list."""
    return values


def joined(before: list[float], values: list[float]) -> list[float]:
    """Return both, one after the other."""
    return before + values if before else values


def scaled(values: list[float], unit: str) -> list[float]:
    """Return *values* of *unit* in milliseconds."""
    times, over = UNITS[unit]
    if times != 1.0:
        return [value * times for value in values]
    return values if over == 1.0 else [value / over for value in values]


def differences(values: list[float], before: float | None) -> list[float]:
    """Return each value less the one before it; the first less *before*, if there is one."""
    all_values = values if before is None else [before, *values]
    return list(map(sub, all_values[1:], all_values))


def longest(values: list[float]) -> tuple[float, int]:
    """Return the largest and the first place where it stands."""
    value = max(values)
    return value, values.index(value)


def finite(values: list[float]) -> bool:
    """Return whether no value is infinite."""
    return abs(max(values)) < INFINITE and abs(min(values)) < INFINITE


class BySize:
    """Values by size, and their sum, piece by piece."""

    def __init__(self, keep_run: KeepRun) -> None:
        self._keep_run = keep_run
        self._sorted: list[Sequence[float]] = []
        self._total = ExactSum()
        self._looked_at: list[float] | None = None
        self._run: list[float] = []

    def ends(self, values: list[float]) -> tuple[float, float]:
        """Return the smallest and the largest of *values*."""
        self._run = sorted(values)
        self._looked_at = values
        return self._run[0], self._run[-1]

    def add(self, values: list[float]) -> None:
        """Take *values*; they are sorted once if their ends were just asked for."""
        run = self._run if values is self._looked_at else sorted(values)
        self._sorted.append(self._keep_run(run))
        self._total.add(run)

    def runs(self) -> list[Sequence[float]]:
        """Return all values as sorted runs."""
        return self._sorted

    def total(self) -> float:
        """Return the exact sum of all values, rounded once."""
        return self._total.total()


def within(
    values: list[float], clock_ms: float, from_ms: float, to_ms: float
) -> tuple[int, int, float]:
    """Return which frames begin within a stretch, and when the last frame ends.

    *clock_ms* is when the first begins. Returns first and last place (exclusive).
    """
    begins = list(accumulate(values, initial=clock_ms))
    end = begins.pop()
    return bisect_left(begins, from_ms), bisect_left(begins, to_ms), end


def count_lines(body: bytes) -> int:
    """Return how many line feeds there are."""
    return body.count(b"\n")


def add_blocks(blocks: Blocks, values: list[float]) -> int:
    """Add the whole smallest blocks of *values*; return how many frames were taken."""
    count = len(values) // BLOCK_FRAMES
    end = count * BLOCK_FRAMES
    columns = [values[at:end:BLOCK_FRAMES] for at in range(BLOCK_FRAMES)]
    lows, highs = list(map(min, *columns)), list(map(max, *columns))
    places = [place * BLOCK_FRAMES for place in blocks.look_at(count)]
    found = sum(alternates(values[place : place + BLOCK_FRAMES]) for place in places)
    blocks.alternate(len(places), found)
    blocks.make_room(count)
    if blocks.shift:
        starts = blocks.starts(count)
        ends = [*starts[1:], count]
        lows = [min(lows[i:j]) for i, j in zip(starts, ends, strict=True)]
        highs = [max(highs[i:j]) for i, j in zip(starts, ends, strict=True)]
    blocks.add(lows, highs, count)
    return end
