"""Arithmetic on frame times with the standard library alone.

Pure. ``harness.rig.captures.wide`` does the same with numpy; both give the same digits, and
one suite of tests holds them to it. Values are lists of floats here.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate
from operator import lt, sub

from harness.rig.captures.declared import UNITS
from harness.rig.captures.times import BLOCK_FRAMES, Blocks, ExactSum, Folded

#: Frames that alternate are apart by more than this factor.
APART = 1.05


def taken(values: Sequence[float]) -> list[float]:
    """Return *values* in the form that the other functions take."""
    return values if isinstance(values, list) else list(values)


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


def extremes(values: list[float]) -> tuple[float, float]:
    """Return the smallest and the largest."""
    return min(values), max(values)


def rises(values: list[float]) -> int:
    """Return how many values are larger than the one before."""
    return sum(map(lt, values, values[1:]))


def place_of(values: list[float], value: float) -> int:
    """Return the first place where *value* stands."""
    return values.index(value)


def counts_up(values: Sequence[float], start: float) -> bool:
    """Return whether *values* are start, start + 1, start + 2 …"""
    return values == list(range(int(start), int(start) + len(values)))


def run_of(values: list[float]) -> Sequence[float]:
    """Return *values* sorted."""
    return sorted(values)


def add_to(total: ExactSum, values: list[float]) -> None:
    """Add *values* to an exact sum."""
    total.add(values)


def within(
    values: list[float], clock_ms: float, from_ms: float, to_ms: float
) -> tuple[int, int, float]:
    """Return which frames begin within a stretch, and when the last frame ends.

    *clock_ms* is when the first begins. Returns first and last place (exclusive).
    """
    begins = list(accumulate(values, initial=clock_ms))
    end = begins.pop()
    return bisect_left(begins, from_ms), bisect_left(begins, to_ms), end


def add_blocks(blocks: Blocks, values: list[float]) -> int:
    """Add the whole smallest blocks of *values*; return how many frames were taken."""
    count = len(values) // BLOCK_FRAMES
    end = count * BLOCK_FRAMES
    a, b, c, d, e, f, g, h = (values[at:end:BLOCK_FRAMES] for at in range(BLOCK_FRAMES))
    even_low, even_high = list(map(min, a, c, e, g)), list(map(max, a, c, e, g))
    odd_low, odd_high = list(map(min, b, d, f, h)), list(map(max, b, d, f, h))
    alternating = sum(
        low > APART * other or other_low > APART * high
        for low, high, other_low, other in zip(even_low, even_high, odd_low, odd_high, strict=True)
    )
    lows: Folded = (even_low, even_high, odd_low, odd_high)
    if blocks.shift:
        starts = blocks.starts(count)
        ends = [*starts[1:], count]
        lows = (
            [min(even_low[i:j]) for i, j in zip(starts, ends, strict=True)],
            [max(even_high[i:j]) for i, j in zip(starts, ends, strict=True)],
            [min(odd_low[i:j]) for i, j in zip(starts, ends, strict=True)],
            [max(odd_high[i:j]) for i, j in zip(starts, ends, strict=True)],
        )
    blocks.add(lows, alternating, count)
    return end
