"""Arithmetic on frame times with numpy, for large captures and columnar files.

Pure. Does what ``plain`` does, with the same digits; values are arrays of float64 here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, cast

import numpy as np

from harness.rig.captures.counted import CountedRun
from harness.rig.captures.declared import UNITS
from harness.rig.captures.times import APART, BLOCK_FRAMES, Blocks, ExactSum, exact_parts

KeepRun = Callable[[Sequence[float]], Sequence[float]]
Values = np.ndarray[tuple[int], np.dtype[np.float64]]

# -------------------------------------------------------------------------------- arithmetic


def taken(values: Sequence[float]) -> Values:
    """Return *values* in the form that the other functions take."""
    return np.asarray(values, dtype=np.float64)


def listed(values: Values) -> list[float]:
    """Return *values* as a list."""
    numbers: list[float] = values.tolist()
    return numbers


def joined(before: Values, values: Values) -> Values:
    """Return both, one after the other."""
    return np.concatenate((before, values)) if len(before) else values


def scaled(values: Values, unit: str) -> Values:
    """Return *values* of *unit* in milliseconds."""
    times, over = UNITS[unit]
    if times != 1.0:
        return values * times
    return values if over == 1.0 else values / over


def differences(values: Values, before: float | None) -> Values:
    """Return each value less the one before it; the first less *before*, if there is one."""
    if before is None:
        return values[1:] - values[:-1]
    return np.diff(values, prepend=before)


def longest(values: Values) -> tuple[float, int]:
    """Return the largest and the first place where it stands."""
    place = int(values.argmax())
    return float(values[place]), place


def finite(values: Values) -> bool:
    """Return whether no value is infinite."""
    return bool(np.isfinite(values).all())


class BySize:
    """Values by size, and their sum, piece by piece.

    Values that all lie on a grid of thousandths (or finer, as the first ones do) are counted
    on it: that is quicker than sorting, and takes no more memory however many there are. A
    piece with any other value is sorted.
    """

    def __init__(self, keep_run: KeepRun) -> None:
        self._keep_run = keep_run
        self._sorted: list[Sequence[float]] = []
        self._total = ExactSum()
        self._steps: float | None = None  # of the grid, in a millisecond; 0: there is none
        self._counts = np.zeros(0, dtype=np.int64)

    def ends(self, values: Values) -> tuple[float, float]:
        """Return the smallest and the largest of *values*."""
        return float(values.min()), float(values.max())

    def add(self, values: Values) -> None:
        """Take *values*."""
        if self._steps is None and len(values) >= _WORTH_COUNTING:
            self._steps = next((steps for steps in _GRIDS if _on(values[:1000], steps)), 0.0)
        if self._steps and self._counted(values, self._steps):
            return
        run = np.sort(values)
        self._sorted.append(self._keep_run(memoryview(run.data)))
        first, last = np.searchsorted(run, (_LOW, _HIGH))
        self._total.add_parts(exact_parts(run[:first].tolist()))
        self._total.add_parts(exact_parts(run[last:].tolist()))
        for start in range(first, last, _CACHED_VALUES):
            self._total.add_parts(_parts(run[start : min(last, start + _CACHED_VALUES)]))

    def _counted(self, values: Values, steps: float) -> bool:
        """Count *values* if all lie on the grid; return whether they do."""
        if values.max() * steps >= _MOST_STEPS:
            return False
        places = np.empty(len(values), dtype=np.int64)
        for start in range(0, len(values), _CACHED_VALUES):
            piece = values[start : start + _CACHED_VALUES]
            nearest = np.rint(piece * steps)
            # Dividing is rounded once, as reading the decimal is: so this finds every value.
            if not (nearest / steps == piece).all():
                return False
            places[start : start + _CACHED_VALUES] = nearest
        counts = np.bincount(places)
        if len(counts) > len(self._counts):
            self._counts = np.pad(self._counts, (0, len(counts) - len(self._counts)))
        self._counts[: len(counts)] += counts
        return True

    def _grid(self) -> tuple[Values, np.ndarray[Any, Any]]:
        """Return the different values that were counted, and how often each came."""
        places = np.flatnonzero(self._counts)
        return as_values(places / (self._steps or 1.0)), self._counts[places]

    def runs(self) -> list[Sequence[float]]:
        """Return all values as sorted runs."""
        values, counts = self._grid()
        counted = [CountedRun(values.tolist(), counts.tolist())] if len(values) else []
        return [*counted, *self._sorted]

    def total(self) -> float:
        """Return the exact sum of all values, rounded once."""
        values, counts = self._grid()
        # Halves of 26 bits (T. J. Dekker, Numer. Math. 18 (1971) 224) times counts of 26 bits.
        scaled = values * 134217729.0
        upper = scaled - (scaled - values)
        low = counts & ((1 << 26) - 1)
        products = [
            half * count for half in (upper, values - upper) for count in (low, counts - low)
        ]
        return self._total.total(and_also=np.concatenate(products).tolist())


def _on(values: Values, steps: float) -> bool:
    """Return whether all *values* lie on a grid of so many steps in a millisecond."""
    return bool((np.rint(values * steps) / steps == values).all())


_GRIDS = (1e3, 1e4)
_MOST_STEPS = 1 << 22  # that are counted: 32 MiB at most
_WORTH_COUNTING = 1 << 16  # values; fewer are sorted as quickly


def _parts(values: Values) -> tuple[float, float]:
    """Return two floats whose exact sum is that of at most 2**16 values between the bounds.

    The values are cut in two on a fixed grid (the cut that Rump, Ogita and Oishi use:
    Accurate Floating-Point Summation, SIAM J. Sci. Comput. 31 (2008) 189). The sum of the
    upper parts stays below 2**49 steps of 2**-20, that of the lower parts, each a multiple
    of 2**-58 and at most 2**-21, below 2**53 steps: so both are exact in any order.
    """
    upper = (values + _CUT) - _CUT
    return float(upper.sum()), float((values - upper).sum())


_LOW, _HIGH = 2.0**-6, 2.0**13  # milliseconds between which the cut is right
_CUT = 1.5 * 2.0**32  # its last place is worth 2**-20
_CACHED_VALUES = 1 << 16  # values that are worked on while they are near the processor


def within(values: Values, clock_ms: float, from_ms: float, to_ms: float) -> tuple[int, int, float]:
    """Return which frames begin within a stretch, and when the last frame ends."""
    begins = np.concatenate(((clock_ms,), values))
    np.cumsum(begins, out=begins)  # one after the other, as itertools.accumulate does
    first, last = np.searchsorted(begins[:-1], (from_ms, to_ms))
    return int(first), int(last), float(begins[-1])


def count_lines(body: bytes) -> int:
    """Return how many line feeds there are."""
    text = np.frombuffer(body, dtype=np.uint8)
    return sum(
        int(np.count_nonzero(text[start : start + _CACHED] == 10))
        for start in range(0, len(text), _CACHED)
    )


_CACHED = 1 << 19  # bytes that are looked at while they are near the processor


def add_blocks(blocks: Blocks, values: Values) -> int:
    """Add the whole smallest blocks of *values*; return how many frames were taken."""
    count = len(values) // BLOCK_FRAMES
    end = count * BLOCK_FRAMES
    if not count:
        return 0
    lows = highs = values[:end]
    for _ in range(BLOCK_FRAMES.bit_length() - 1):  # by halves: far quicker than along an axis
        lows = np.minimum(lows[0::2], lows[1::2])
        highs = np.maximum(highs[0::2], highs[1::2])
    table = values[:end].reshape(count, BLOCK_FRAMES)[blocks.look_at(count)]
    even, odd = table[:, 0::2], table[:, 1::2]
    alternates = (even.min(axis=1) > APART * odd.max(axis=1)) | (
        odd.min(axis=1) > APART * even.max(axis=1)
    )
    blocks.alternate(len(table), int(np.count_nonzero(alternates)))
    blocks.make_room(count)
    if blocks.shift:
        starts = blocks.starts(count)
        lows = np.minimum.reduceat(lows, starts)
        highs = np.maximum.reduceat(highs, starts)
    blocks.add(lows.tolist(), highs.tolist(), count)
    return end


# --------------------------------------------------------------------------- typed columns


class Numbers:
    """A column that counts frames, as whole numbers."""

    __slots__ = ("_values",)

    def __init__(self, values: np.ndarray[Any, Any]) -> None:
        self._values = values

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self._values)

    def first(self, line: Callable[[int], int | None]) -> int:
        """Return the first number."""
        del line
        return int(self._values[0])

    def counts_up(self, start: int) -> bool:
        """Return whether the rows say start, start + 1, start + 2 and so on."""
        return bool(
            self._values[0] == start
            and self._values[-1] == start + len(self._values) - 1
            and (self._values[1:] - self._values[:-1] == 1).all()
        )

    def values(self, line: Callable[[int], int | None]) -> list[int]:
        """Return the numbers."""
        del line
        numbers: list[int] = self._values.tolist()
        return numbers

    def chosen(self, mask: Sequence[bool]) -> Numbers:
        """Return the rows that *mask* chooses."""
        return Numbers(self._values[np.asarray(mask, dtype=bool)])


def as_values(array: np.ndarray[Any, Any]) -> Values:
    """Return an array of float64 as what it is."""
    return cast("Values", array)


def as_sequence(values: Values) -> Sequence[float]:
    """Return *values* as `Rows` hold them."""
    return cast("Sequence[float]", values)


def absent_kinds(blank: int, values: Values) -> dict[str, int]:
    """Return how many cells hold nothing, NaN or infinity, by kind."""
    counts = {
        "blank": blank,
        "NaN": int(np.isnan(values).sum()),
        "infinite": int(np.isinf(values).sum()),
    }
    return {kind: count for kind, count in counts.items() if count}
