"""The numbers of a margin as a person reads them: no more decimals than its interval allows.

Pure.
"""

from __future__ import annotations

import math

from harness.summary.comparison import Compared
from harness.summary.margins import Margin


def decimals(margin: Margin) -> int:
    """Return the decimals of a per cent that the interval allows."""
    if margin.low is None or margin.high is None:
        return 1
    half = 50.0 * (margin.high - margin.low)
    if half <= 0.0:
        return 2
    return min(4, max(1, 1 - math.floor(math.log10(half))))


def mean(value: float, each: Compared) -> str:
    """Return the mean of a side of *each*, to the digits in which the margin's interval shows."""
    if not 1e-4 <= value < 1e9:
        return f"{value:.4g}"
    share = 10.0 ** -(decimals(each.margin) + 2)
    size = max(each.row.base.mean, each.row.against.mean) * share
    places = min(6, max(0, -math.floor(math.log10(size))))
    return f"{value:.{places}f}"


def per_cent(fraction: float, digits: int) -> str:
    """Return a margin in per cent, with its sign."""
    if fraction > 1e4:
        return "over +1000000 %"
    return f"{100 * fraction:+.{digits}f} %"


def interval(low: float | None, high: float | None, digits: int) -> str:
    """Return an interval of a margin in per cent; one that reaches too far has no end."""
    if low is None or high is None:
        return "not measured"
    top = "no end" if high > 1e4 else f"{100 * high:+.{digits}f} %"
    return f"{100 * low:+.{digits}f} to {top}"
