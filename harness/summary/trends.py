"""Whether passes get slower or faster one after the other, over all cells of a run together.

Pure. A cell of five passes has no power against a slow trend; many cells that heat up alike
have. Two tests, on all cells at once, each cell compared with itself only:

- the seasonal Kendall test: Mann and Kendall's S and its variance, ties taken into account, summed
  over cells, z = (S - sgn S) / sqrt(Var S). Source: R. M. Hirsch, J. R. Slack, R. A. Smith,
  Techniques of Trend Analysis for Monthly Water Quality Data, Water Resources Research 18 (1982)
  107-121. It says whether there is a trend, whatever its form and the noise's.
- a regression of the logarithm on the attempt with one slope common to all cells and a mean of
  its own for each. It says how large the trend is.

The passes are those kept and those discarded: a rule must not hide the trend.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.rules.student import normal_tail, t_quantile
from harness.summary.from_logs import fraction

#: From this significance on a trend is flagged. Common practice, no source.
ALPHA = 0.01

CONFIDENCE = 0.95

#: Passes of one cell: attempt and value, in order.
Series = Sequence[tuple[int, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """The common trend of one figure over the passes of many cells.

    Args:
        cells: Cells with at least two values.
        passes: Values in them.
        s: Sum over cells of Mann and Kendall's S.
        z: Standardised.
        p: Two-sided significance.
        slope: Relative change from one attempt to the next; None: not all values are positive.
        low: Lower end of its 95 % interval.
        high: Upper end.
    """

    cells: int
    passes: int
    s: int
    z: float
    p: float
    slope: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def there(self) -> bool:
        """Return whether the trend is flagged."""
        return self.p < ALPHA


def pooled_trend(cells: Iterable[Series]) -> Trend | None:
    """Return the common trend of *cells*; None where no two passes can be told apart.

    >>> trend = pooled_trend([[(1, 5.0), (2, 4.0), (3, 3.0)]] * 4)
    >>> trend.s, trend.p < 0.01
    (-12, True)
    """
    series = [each for each in cells if len(each) >= 2]
    s, variance = 0, 0.0
    for each in series:
        of_cell, its = mann_kendall([value for _, value in each])
        s, variance = s + of_cell, variance + its
    if variance == 0.0:
        return None
    z = (s - (s > 0) + (s < 0)) / math.sqrt(variance)
    slope, low, high = _common_slope(series)
    return Trend(
        cells=len(series),
        passes=sum(map(len, series)),
        s=s,
        z=z,
        p=min(1.0, 2.0 * normal_tail(abs(z))),
        slope=slope,
        low=low,
        high=high,
    )


def mann_kendall(values: Sequence[float]) -> tuple[int, float]:
    """Return Mann and Kendall's S of one series, and its variance where there is no trend.

    S is the number of pairs that rise less those that fall; the variance is
    (n (n - 1) (2 n + 5) - sum t (t - 1) (2 t + 5)) / 18 over groups of t ties. Source: M. G.
    Kendall, Rank Correlation Methods, Griffin 1975.

    >>> mann_kendall([1, 3, 2, 4, 5])
    (8, 16.666666666666668)
    """
    n = len(values)
    s = sum(
        (later > earlier) - (later < earlier)
        for place, earlier in enumerate(values)
        for later in values[place + 1 :]
    )
    ties = sum(t * (t - 1) * (2 * t + 5) for t in Counter(values).values())
    return s, (n * (n - 1) * (2 * n + 5) - ties) / 18.0


def _common_slope(
    series: Sequence[Series],
) -> tuple[float | None, float | None, float | None]:
    """Return the slope of the logarithm common to all cells as a share, and its interval."""
    if any(value <= 0.0 for each in series for _, value in each):
        return None, None, None
    xx, xy, yy, df = 0.0, 0.0, 0.0, -1
    for each in series:
        n = len(each)
        x_mean = math.fsum(at for at, _ in each) / n
        logs = [math.log(value) for _, value in each]
        y_mean = math.fsum(logs) / n
        for (at, _), log in zip(each, logs, strict=True):
            xx += (at - x_mean) ** 2
            xy += (at - x_mean) * (log - y_mean)
            yy += (log - y_mean) ** 2
        df += n - 1
    slope = xy / xx
    if df < 1:
        return fraction(slope), None, None
    error = math.sqrt(max(0.0, yy - slope * xy) / df / xx)
    reach = t_quantile(0.5 + 0.5 * CONFIDENCE, df=df) * error
    return fraction(slope), fraction(slope - reach), fraction(slope + reach)
