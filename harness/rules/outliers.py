"""The two outlier rules: which of several values stands out, and by how much.

Pure. A rule only looks: what may be discarded is decided in ``harness.rules.discard``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from harness.rules.student import t_upper_quantile

#: Two distances closer than this, relative to the larger, are a tie: rounding may not choose.
_TIE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlying:
    """The value, or the tied values, furthest out, and further than allowed.

    Args:
        places: Where they stand among the values; more than one is a tie.
        statistic: How far out, as the rule counts it.
        critical: What the statistic was held against, in the same unit.
    """

    places: tuple[int, ...]
    statistic: float
    critical: float


def spread(values: Sequence[float], *, more_than: float) -> Outlying | None:
    """Return the values further than *more_than* from the median of the others, if any.

    The distance of a value is its difference from the median of the others, as a share of
    that median. A median of zero has no shares: then nothing stands out.

    Args:
        values: At least three.
        more_than: A fraction: 0.03 is 3 %.

    >>> spread([101.0, 100.0, 99.0, 92.0], more_than=0.03).places
    (3,)
    """
    shares = [from_others(values, place) for place in range(len(values))]
    distances = [abs(share) if share is not None else 0.0 for share in shares]
    return _furthest(distances, critical=more_than)


def grubbs(values: Sequence[float], *, alpha: float, floor: float) -> Outlying | None:
    """Return the value furthest from the mean, if Grubbs' two-sided test rejects it.

    G is the largest distance from the mean in sample standard deviations (n - 1). Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.

    Args:
        values: At least three.
        alpha: Level of the two-sided test, as a fraction.
        floor: A value no further than this share from the median of the others is never an
            outlier, however alike the others are.
    """
    mean = math.fsum(values) / len(values)
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))
    if sd == 0.0:
        return None
    distances = [abs(value - mean) / sd for value in values]
    found = _furthest(distances, critical=grubbs_critical(len(values), alpha=alpha))
    if found is None:
        return None
    share = from_others(values, found.places[0])
    return None if share is not None and abs(share) <= floor else found


@lru_cache(maxsize=256)
def grubbs_critical(n: int, *, alpha: float) -> float:
    """Return the two-sided critical value of Grubbs' G for *n* values.

    (n - 1) / sqrt(n) * sqrt(t^2 / (n - 2 + t^2)), with t the upper alpha / (2 n) quantile
    of Student's t with n - 2 degrees of freedom. Source: the same.

    >>> round(grubbs_critical(8, alpha=0.05), 4)
    2.1266

    Raises:
        ValueError: *n* is below 3, or *alpha* is not between 0 and 1.
    """
    if n < 3:
        raise ValueError(f"Grubbs' test needs at least 3 values, not {n}")
    t = t_upper_quantile(alpha / (2 * n), df=n - 2)
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def from_others(values: Sequence[float], place: int) -> float | None:
    """Return how far one value lies above the median of the others, as a share of it.

    Negative: below. None: the median is zero, of which there is no share.
    """
    middle = median([value for other, value in enumerate(values) if other != place])
    return (values[place] - middle) / abs(middle) if middle != 0.0 else None


def median(values: Sequence[float]) -> float:
    """Return the median: the middle value, or the mean of the two in the middle."""
    ordered = sorted(values)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[half]
    return 0.5 * ordered[half - 1] + 0.5 * ordered[half]


def _furthest(distances: Sequence[float], *, critical: float) -> Outlying | None:
    most = max(distances)
    if not most > critical:
        return None
    places = tuple(p for p, distance in enumerate(distances) if distance >= most * (1.0 - _TIE))
    return Outlying(places=places, statistic=most, critical=critical)
