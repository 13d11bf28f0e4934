"""Two sides measured in turns in one run, so that the ratio holds on a noisy machine.

Touches the clock. A B A B …: each pair gives one ratio; the median and the spread of the
ratios are shown, never a best run, never one side alone.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass

#: Does the work once. Returns None, and is timed; or the seconds, where it timed itself.
Side = Callable[[], float | None]

LEAST_PAIRS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One measured line of the table.

    Args:
        name: What was measured, and against what.
        value: The median.
        low: Lower quartile.
        high: Upper quartile.
        limit: The figure to reach, at most; None where there is none.
        unit: Unit of value, low, high and limit; ``×`` for a ratio.
        note: What the reader must know beside it.
    """

    name: str
    value: float
    low: float
    high: float
    limit: float | None = None
    unit: str = "×"
    note: str = ""

    @property
    def reached(self) -> bool | None:
        """Return whether the median is within the limit; None where there is none."""
        return None if self.limit is None else self.value <= self.limit


def ratio(
    name: str,
    side_a: Side,
    side_b: Side,
    pairs: int = LEAST_PAIRS,
    *,
    limit: float | None = None,
    note: str = "",
) -> Line:
    """Measure both sides in turns, after one turn each that does not count.

    Args:
        name: What is measured, and against what.
        side_a: Ours.
        side_b: The bare or best side that it is held against.
        pairs: How many A B pairs count, at least seven.
        limit: The ratio to reach, at most.
        note: What the reader must know beside it.

    Returns:
        The line, its value being the median of A / B over the pairs.

    Raises:
        ValueError: Fewer than seven pairs.
    """
    if pairs < LEAST_PAIRS:
        raise ValueError(f"{pairs} pairs are too few: at least {LEAST_PAIRS}")
    seconds(side_a)
    seconds(side_b)
    ratios = [seconds(side_a) / seconds(side_b) for _ in range(pairs)]
    return spread(name, ratios, limit=limit, note=note)


def spread(
    name: str, values: list[float], *, limit: float | None = None, unit: str = "×", note: str = ""
) -> Line:
    """Return the line of several values of one thing: their median and quartiles."""
    low, middle, high = statistics.quantiles(values, n=4, method="inclusive")
    return Line(name=name, value=middle, low=low, high=high, limit=limit, unit=unit, note=note)


def seconds(side: Side) -> float:
    """Return how long one turn of *side* took."""
    began = time.perf_counter()
    own = side()
    return time.perf_counter() - began if own is None else own
