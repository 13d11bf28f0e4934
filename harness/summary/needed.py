"""How many passes would settle an unresolved margin.

Pure. Taken as it stands, the margin is settled once half its interval is no longer than its way
to the nearer edge of the band: the 90 % interval's where it lies inside (then *alike*), the
95 % interval's where it lies outside. The spread is known only so well: the range is over its
80 % chi-square interval (four times in five the true spread lies in it), which with few passes
is wide, and rightly so. All of it is for one row by itself, before any correction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.rules.student import normal_quantile, t_quantile
from harness.rules.variance import chi2_quantile
from harness.summary.evidence import Evidence
from harness.summary.margins import ALIKE_CONFIDENCE, CONFIDENCE

#: More than this is never the answer.
MOST = 1000

_SHARE = 0.80


@dataclass(frozen=True, slots=True, kw_only=True)
class Needed:
    """Values a side that would settle a margin, in the row's unit; None: over 1000."""

    expected: int | None
    low: int | None
    high: int | None


def needed(row: Evidence, *, band: float) -> Needed | None:
    """Return what would settle *row*; None where nothing tells a spread."""
    if row.se is None or row.se <= 0.0 or row.df <= 0.0:
        return None
    edge, size = math.log1p(band), abs(row.log_ratio)
    confidence = ALIKE_CONFIDENCE if size < edge else CONFIDENCE
    # The spread of one value on each side together: se^2 = square / n for n a side.
    square = _square(row)
    df_each = 1.0 if row.paired else 2.0
    tail = 0.5 * (1.0 - _SHARE)
    ends = [row.df / chi2_quantile(p, df=row.df) for p in (1.0 - tail, tail)]
    counts = [
        _count(math.sqrt(square * factor), abs(size - edge), confidence, df_each)
        for factor in (1.0, *ends)
    ]
    return Needed(expected=counts[0], low=counts[1], high=counts[2])


def _square(row: Evidence) -> float:
    if row.pooled_over:
        assert row.se is not None
        each = row.se**2 / math.fsum(1.0 / spread.n for spread in row.spreads)
        return each * len(row.spreads)
    return math.fsum(spread.variance for spread in row.spreads)


def _count(sd: float, way: float, confidence: float, df_each: float) -> int | None:
    """Return the least n with t(df_each (n - 1)) sd / sqrt(n) <= way."""
    if way <= 0.0:
        return None
    p = 0.5 + 0.5 * confidence
    least = max(2.0, (normal_quantile(p) * sd / way) ** 2)
    if least > MOST:
        return None
    for n in range(math.ceil(least), MOST + 1):
        if t_quantile(p, df=df_each * (n - 1)) * sd / math.sqrt(n) <= way:
            return n
    return None
