"""How small a margin so many passes can tell: the spread of passes, and the interval it makes.

Pure. A margin is the difference of the means of two cells' logarithms. With *n* passes on
each side, and the same standard deviation s of the logarithms on both, Welch's interval
(B. L. Welch, Biometrika 34 (1947) 28-35, with the degrees of freedom of F. E. Satterthwaite,
Biometrics Bulletin 2 (1946) 110-114, which then are 2 (n - 1)) is

    margin +- t(97.5 %, 2 (n - 1)) * s * sqrt(2 / n).

A band b is resolved where half of that is at most ln(1 + b): a true margin of nothing then
gives an interval that a margin of the band does not belong to. For small spreads s is the
relative standard deviation, 0.02 being 2 %.

The spread is pooled over cells: sqrt(sum of squared deviations from each cell's own mean /
sum of (passes - 1)), NIST/SEMATECH e-Handbook of Statistical Methods, 7.3.1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.rules.student import normal_quantile, t_quantile

#: Confidence of the interval.
CONFIDENCE = 0.95

#: More passes than this are never the answer.
MOST_PASSES = 1000

_UPPER = 0.5 + 0.5 * CONFIDENCE


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How far passes of one cell lie apart, pooled over cells.

    Args:
        sd: Standard deviation of the natural logarithms.
        df: Degrees of freedom it has.
        passes: Passes it was taken over.
        cells: Cells (each under one fingerprint) these are of.
    """

    sd: float
    df: int
    passes: int
    cells: int


def pooled_spread(cells: Iterable[Sequence[float]]) -> Spread | None:
    """Return the spread of positive values within *cells*; None where no cell has two."""
    squares, df, passes, counted = 0.0, 0, 0, 0
    for values in cells:
        n = len(values)
        if n < 2 or min(values) <= 0.0:
            continue
        logs = [math.log(value) for value in values]
        mean = math.fsum(logs) / n
        squares += math.fsum((each - mean) ** 2 for each in logs)
        df, passes, counted = df + n - 1, passes + n, counted + 1
    if not df:
        return None
    return Spread(sd=math.sqrt(squares / df), df=df, passes=passes, cells=counted)


def half_width(sd: float, passes: int) -> float:
    """Return half the interval of a margin's logarithm, *passes* on each side.

    >>> round(half_width(0.02, 5), 4)
    0.0292
    """
    if passes < 2:
        return math.inf
    return t_quantile(_UPPER, df=2 * (passes - 1)) * sd * math.sqrt(2.0 / passes)


def passes_to_resolve(sd: float, band: float) -> int | None:
    """Return the fewest passes a side that resolve *band* (a fraction); None: over 1000.

    >>> passes_to_resolve(0.02, 0.03)
    5
    """
    wanted = math.log1p(band)
    if wanted <= 0.0:
        return None
    # t is larger than the normal quantile, so no fewer than these can do.
    least = 2.0 * (normal_quantile(_UPPER) * sd / wanted) ** 2
    if least > MOST_PASSES:
        return None
    start = max(2, math.ceil(least))
    return next((n for n in range(start, MOST_PASSES + 1) if half_width(sd, n) <= wanted), None)
