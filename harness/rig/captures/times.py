"""Frame times of one capture, held so that every figure can be had exactly.

Touches disk only where a capture is larger than memory should be (see `keep_run`).

The frames are kept in two ways. *In order of size*: as sorted runs, one for an ordinary
capture, one for each piece of a large one, so that any rank and any tail is found by
bisection and nothing is sorted twice. *In order of time*: as blocks of frames with their
shortest and longest, at most `MOST_BLOCKS` of them however long the capture is, so that
stretches can be judged in bounded memory; what a block is depends on the number of frames
alone, never on how the file was read.

Every total is the exact sum of the floats, rounded once (as by ``math.fsum``), so it does
not depend on how the file was read either.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import chain
from math import fsum

BLOCK_FRAMES = 8  #: frames of the smallest block
MOST_BLOCKS = 4096
LOOKED_AT_FIRST = 64
LOOKED_AT_EVERY = 16
LOOKED_AT_EACH = 128  # blocks in each doubling of the capture's length, at most
APART = 1.05  #: frames that alternate are apart by more than this factor
OPENING_FRAMES = 1 << 18  #: so many of the first frames are kept in their order


class ExactSum:
    """A sum of floats without rounding, as a few floats that do not overlap."""

    __slots__ = ("_parts", "_pending")

    def __init__(self) -> None:
        self._parts: list[float] = []
        self._pending: Iterable[float] = ()

    def add(self, values: Sequence[float]) -> None:
        """Add *values*, which must not change until the next call."""
        if self._pending:
            self._parts = exact_parts(chain(self._parts, self._pending))
        self._pending = values

    def add_parts(self, parts: Iterable[float]) -> None:
        """Add values whose sum is exact: few, so they are only put beside the others."""
        self._parts.extend(parts)
        if len(self._parts) > 4096:
            self._parts = exact_parts(self._parts)

    def total(self, *, and_also: Iterable[float] = ()) -> float:
        """Return the sum, with that of other values if there are any, rounded once."""
        return fsum(chain(self._parts, self._pending, and_also))


def exact_parts(values: Iterable[float]) -> list[float]:
    """Return a few floats whose exact sum is that of *values*.

    Each is what is left after the ones before, rounded once: so the last leaves nothing.
    """
    held = list(values)
    parts: list[float] = []
    while part := fsum(chain(held, (-each for each in parts))):
        parts.append(part)
    return parts


class Runs:
    """Values in sorted runs, asked by rank and by size."""

    __slots__ = ("count", "runs")

    def __init__(self, runs: Sequence[Sequence[float]]) -> None:
        self.runs = [run for run in runs if len(run)]
        self.count = sum(map(len, self.runs))

    def at(self, rank: int) -> float:
        """Return the value of *rank*, from 0 for the smallest. IndexError: there is none."""
        if not 0 <= rank < self.count:
            raise IndexError(rank)
        if len(self.runs) == 1:
            return self.runs[0][rank]
        low = [0] * len(self.runs)
        high = [len(run) for run in self.runs]
        while True:
            # The middle of the widest stretch left is in play: each turn halves that stretch.
            widest = max(range(len(self.runs)), key=lambda each: high[each] - low[each])
            pivot = self.runs[widest][(low[widest] + high[widest]) // 2]
            left = [
                bisect_left(run, pivot, *at) for run, *at in zip(self.runs, low, high, strict=True)
            ]
            if rank < sum(left):
                high = left
                continue
            right = [
                bisect_right(run, pivot, *at)
                for run, *at in zip(self.runs, left, high, strict=True)
            ]
            if rank < sum(right):
                return pivot
            low = right

    def above(self, value: float) -> int:
        """Return how many values are larger than *value*."""
        return self.count - sum(bisect_right(run, value) for run in self.runs)

    def between(self, low: float, high: float) -> int:
        """Return how many values are at least *low* and at most *high*."""
        return sum(bisect_right(run, high) - bisect_left(run, low) for run in self.runs)

    def largest(self, count: int) -> list[float]:
        """Return the *count* largest values, largest first."""
        if count <= 0:
            return []
        if len(self.runs) == 1:
            return list(self.runs[0][: -count - 1 : -1])
        edge = self.at(self.count - count)
        tail = [value for run in self.runs for value in run[bisect_right(run, edge) :]]
        tail.sort(reverse=True)
        return tail + [edge] * (count - len(tail))


class Blocks:
    """Shortest and longest frames of equal blocks, in order of time.

    Whether frames alternate is looked at in some of the smallest blocks: the first
    `LOOKED_AT_FIRST`, then ever fewer. ``alternating`` counts those in which all frames at
    one parity are longer than all at the other.
    """

    __slots__ = ("alternating", "count", "highs", "looked_at", "lows", "shift")

    def __init__(self) -> None:
        self.count = 0  #: smallest blocks taken
        self.shift = 0  #: a block is 2 ** shift of the smallest
        self.looked_at = 0
        self.alternating = 0
        self.lows: list[float] = []
        self.highs: list[float] = []

    @property
    def frames(self) -> int:
        """Return how many frames a block has."""
        return BLOCK_FRAMES << self.shift

    @property
    def complete(self) -> int:
        """Return how many blocks are complete; the last may not be."""
        return self.count >> self.shift

    def make_room(self, count: int) -> None:
        """Let blocks grow until *count* more of the smallest leave no more than there may be."""
        while (self.count + count - 1) >> self.shift >= MOST_BLOCKS:
            self.shift += 1
            odd = len(self.lows) & 1
            last_low, last_high = self.lows[-1:] * odd, self.highs[-1:] * odd
            self.lows = list(map(min, self.lows[0::2], self.lows[1::2])) + last_low
            self.highs = list(map(max, self.highs[0::2], self.highs[1::2])) + last_high

    def add(self, lows: list[float], highs: list[float], count: int) -> None:
        """Add *count* smallest blocks, for which there is room, folded as `starts` says."""
        if lows and self.count & ((1 << self.shift) - 1):
            self.lows[-1] = min(self.lows[-1], lows[0])
            self.highs[-1] = max(self.highs[-1], highs[0])
            lows, highs = lows[1:], highs[1:]
        self.lows.extend(lows)
        self.highs.extend(highs)
        self.count += count

    def starts(self, count: int) -> list[int]:
        """Return where, among the next *count* smallest blocks, each block begins."""
        size = 1 << self.shift
        into = self.count & (size - 1)
        first = (size - into) % size
        return [*([0] if into and count else []), *range(first, count, size)]

    def look_at(self, count: int) -> list[int]:
        """Return which of the next *count* smallest blocks are looked at for alternation."""
        first, last = self.count, self.count + count
        chosen = list(range(first, min(last, LOOKED_AT_FIRST)))
        octave = LOOKED_AT_FIRST
        while octave < last:
            step = max(LOOKED_AT_EVERY, octave // LOOKED_AT_EACH)
            begin = max(octave, first)
            chosen.extend(range(begin + -begin % step, min(2 * octave, last), step))
            octave *= 2
        return [place - first for place in chosen]

    def alternate(self, looked_at: int, alternating: int) -> None:
        """Note of how many blocks that were looked at how many alternate (see `alternates`)."""
        self.looked_at += looked_at
        self.alternating += alternating


def alternates(block: Sequence[float]) -> bool:
    """Return whether all frames at one parity are longer than all at the other."""
    even, odd = block[0::2], block[1::2]
    return min(even) > APART * max(odd) or min(odd) > APART * max(even)


class FrameTimes:
    """The frame times of one capture, in milliseconds; at least one frame.

    Args:
        runs: Every frame time, by size.
        total_ms: Their exact sum, rounded once.
        blocks: Stretches of frames, by time.
        opening: The first frames in their order, `OPENING_FRAMES` at most.
        later_longest: The longest frame after those, and its place; None if there is none.
        first_line: The line of the first frame, None where frames are not lines.
        counted: Whether a counter in the file has told that no frame is lost or doubled.
        began_ms: When the first frame began, on the capture's clock; None: it holds durations.
    """

    __slots__ = (
        "began_ms",
        "blocks",
        "counted",
        "first_line",
        "later_longest",
        "opening",
        "runs",
        "total_ms",
    )

    def __init__(
        self,
        *,
        runs: Runs,
        total_ms: float,
        blocks: Blocks,
        opening: Sequence[float],
        later_longest: tuple[float, int] | None = None,
        first_line: int | None = None,
        counted: bool = False,
        began_ms: float | None = None,
    ) -> None:
        self.began_ms = began_ms
        self.counted = counted
        self.runs = runs
        self.total_ms = total_ms
        self.blocks = blocks
        self.opening = opening
        self.later_longest = later_longest
        self.first_line = first_line

    @property
    def count(self) -> int:
        """Return how many frames there are."""
        return self.runs.count

    def line(self, place: int) -> int | None:
        """Return the line of the frame at *place*, from 0; None where frames are not lines."""
        return None if self.first_line is None else self.first_line + place

    def quantile(self, numerator: int, denominator: int) -> float:
        """Return the quantile numerator/denominator, Hyndman and Fan's type 7.

        R. J. Hyndman, Y. Fan, Sample Quantiles in Statistical Packages, The American
        Statistician 50 (1996) 361: between the values of rank ``(n - 1) p``, from 0. The
        rank is a fraction of whole numbers here, so that no rounding moves it.
        """
        rank, part = divmod((self.count - 1) * numerator, denominator)
        value = self.runs.at(rank)
        if not part:
            return value
        return value + (self.runs.at(rank + 1) - value) * (part / denominator)
