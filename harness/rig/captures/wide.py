"""Arithmetic on frame times with numpy, for large captures and columnar files.

Pure. Does what ``plain`` does, with the same digits; values are arrays of float64 here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, cast

import numpy as np

from harness.rig.captures.declared import UNITS
from harness.rig.captures.times import BLOCK_FRAMES, Blocks, ExactSum, exact_parts

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


def rises(values: Values) -> int:
    """Return how many values are larger than the one before."""
    return int(np.count_nonzero(values[1:] > values[:-1]))


def run_of(values: Values) -> Sequence[float]:
    """Return *values* sorted."""
    return memoryview(np.sort(values).data)


def add_to(total: ExactSum, run: Sequence[float]) -> None:
    """Add sorted values to an exact sum."""
    values = np.frombuffer(cast("memoryview", run), dtype=np.float64)
    first, last = np.searchsorted(values, (_LOW, _HIGH))
    total.add_parts(exact_parts(values[:first].tolist()))
    total.add_parts(exact_parts(values[last:].tolist()))
    for start in range(first, last, _CACHED_VALUES):
        total.add_parts(_parts(values[start : min(last, start + _CACHED_VALUES)]))


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
    table = values[:end].reshape(count, BLOCK_FRAMES)
    blocks.alternate(table[blocks.look_at(count)].tolist())
    blocks.make_room(count)
    if blocks.shift:
        starts = blocks.starts(count)
        lows = np.minimum.reduceat(lows, starts)
        highs = np.maximum.reduceat(highs, starts)
    blocks.add(lows.tolist(), highs.tolist(), count)
    return end


# --------------------------------------------------------------------------- typed columns


class Numbers:
    """A column that counts frames, as numbers."""

    __slots__ = ("_values",)

    def __init__(self, values: np.ndarray[Any, Any]) -> None:
        self._values = values

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self._values)

    def first(self, line: Callable[[int], int | None]) -> float:
        """Return the first number."""
        del line
        return float(self._values[0])

    def counts_up(self, start: int) -> bool:
        """Return whether the rows say start, start + 1, start + 2 and so on."""
        return bool(
            self._values[0] == start
            and self._values[-1] == start + len(self._values) - 1
            and (self._values[1:] - self._values[:-1] == 1).all()
        )

    def values(self, line: Callable[[int], int | None]) -> list[float]:
        """Return the numbers."""
        del line
        return [float(value) for value in self._values.tolist()]

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
