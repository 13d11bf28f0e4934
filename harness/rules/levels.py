"""Whether the passes of a cell lie on two levels, which no discard rule may clean away.

Pure. A cell of which some passes run at one rate and some at another (a clock that does not
hold, a cache that is full or not) has no one number; taking the smaller level out as outliers
would hide that. The test splits the ordered values where the sum of squares between the two
sides is largest beside that within them, with at least two values and at least a quarter of
all on each side (a lone one is an outlier), and holds the quotient against what normal values
give: L. Engelman, J. A. Hartigan, Percentage Points of a Test for Clusters, Journal of the
American Statistical Association 64 (1969) 1647-1648. The least size of a level is our own; so
the critical values are simulated, in ``harness.rules.critical_values``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.critical_values import TWO_LEVELS, critical

#: Fewer values than these have no two levels.
LEAST = 4

#: The quotient where nothing is left within the levels: any number that is larger than all.
MOST = 1e12


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Two levels.

    Args:
        low: Places of the values on the lower level.
        high: Places of those on the higher.
        at: Mean of the lower, mean of the higher.
        statistic: Squares between the levels over squares within them.
        critical: What the statistic was held against.
    """

    low: tuple[int, ...]
    high: tuple[int, ...]
    at: tuple[float, float]
    statistic: float
    critical: float


def least_size(n: int) -> int:
    """Return how many of *n* values a level has at least."""
    return max(2, -(-n // 4))


def two_levels(values: Sequence[float], *, alpha: float, floor: float) -> Levels | None:
    """Return the two levels that *values* lie on, or None.

    Args:
        values: Any number.
        alpha: Level of the test: 0.1, 0.05 or 0.01.
        floor: Levels that are no further apart than this share of the lower are one.
    """
    n = len(values)
    if n < LEAST:
        return None
    order = sorted(range(n), key=lambda place: values[place])
    middle = math.fsum(values) / n
    away = [values[place] - middle for place in order]
    whole = math.fsum(each * each for each in away)
    if whole == 0.0:
        return None
    least = least_size(n)
    below = math.fsum(away[:least])
    best, split = -1.0, least
    for low in range(least, n - least + 1):
        between = below * below * (1.0 / low + 1.0 / (n - low))
        if between > best:
            best, split = between, low
        below += away[low]
    within = whole - best
    statistic = min(best / within, MOST) if within > whole / MOST else MOST
    allowed = critical(TWO_LEVELS, n, alpha=alpha)
    lower = math.fsum(away[:split]) / split + middle
    upper = math.fsum(away[split:]) / (n - split) + middle
    if statistic <= allowed or upper - lower <= floor * abs(lower):
        return None
    return Levels(
        low=tuple(sorted(order[:split])),
        high=tuple(sorted(order[split:])),
        at=(lower, upper),
        statistic=statistic,
        critical=allowed,
    )
