"""Outliers by distance: the spread rule, Grubbs' test, Rosner's for several at once.

Pure. A rule only looks: what may be discarded is decided in ``harness.rules.discard``. Dixon's
rule is ``harness.rules.dixon``, those by median and quartiles ``harness.rules.resistant``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import assert_never

from harness.plan.document import Side
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
    return furthest(distances, critical=more_than)


def grubbs(
    values: Sequence[float], *, alpha: float, floor: float, side: Side = Side.BOTH
) -> Outlying | None:
    """Return the value furthest from the mean, if Grubbs' test rejects it.

    G is the largest distance from the mean in sample standard deviations (n - 1), on the side
    looked at. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.

    Args:
        values: At least three.
        alpha: Level of the test, as a fraction.
        floor: A value no further than this share from the median of the others is never an
            outlier, however alike the others are.
        side: Low or high: the one-sided test.
    """
    mean, sd = _mean_and_sd(values)
    if sd == 0.0:
        return None
    distances = [distance(value - mean, side) / sd for value in values]
    critical = grubbs_critical(len(values), alpha=alpha, sides=2 if side is Side.BOTH else 1)
    found = furthest(distances, critical=critical)
    return None if found is None or within(values, found.places[0], floor) else found


def esd(values: Sequence[float], *, alpha: float, most: int, floor: float) -> tuple[Outlying, ...]:
    """Return up to *most* values that stand out together, the furthest first.

    The generalized extreme Studentized deviate test: R_i is Grubbs' statistic after the i - 1
    furthest values are taken away, and as many are outliers as the *largest* i with R_i above
    its critical value, whatever the ones before say: two outliers may mask each other. Source:
    B. Rosner, Percentage Points for a Generalized ESD Many-Outlier Procedure, Technometrics 25
    (1983) 165-172; NIST/SEMATECH e-Handbook 1.3.5.17.3.

    Args:
        values: At least three more than *most*; fewer are looked for where there are not.
        alpha: Level of each test, as a fraction.
        most: How many outliers there may be.
        floor: A value no further than this share from the median of the others is none.
    """
    left = list(range(len(values)))
    steps: list[Outlying] = []
    count = 0
    for i in range(1, min(most, len(values) - 3) + 1):
        mean, sd = _mean_and_sd([values[place] for place in left])
        if sd == 0.0:
            break
        distances = [abs(values[place] - mean) / sd for place in left]
        critical = grubbs_critical(len(left), alpha=alpha)
        tied = furthest(distances, critical=-1.0)
        assert tied is not None
        places = tuple(left[at] for at in tied.places)
        steps.append(Outlying(places=places, statistic=tied.statistic, critical=critical))
        if tied.statistic > critical and not within(values, places[0], floor):
            count = i
        left.remove(places[0])
    found = steps[:count]
    # A tie between the last that is one and a value that is none singles neither out.
    alone = [each.places[:1] for each in found[:-1]] + [each.places for each in found[-1:]]
    return tuple(
        Outlying(places=places, statistic=each.statistic, critical=each.critical)
        for each, places in zip(found, alone, strict=True)
    )


@lru_cache(maxsize=256)
def grubbs_critical(n: int, *, alpha: float, sides: int = 2) -> float:
    """Return the critical value of Grubbs' G for *n* values.

    (n - 1) / sqrt(n) * sqrt(t^2 / (n - 2 + t^2)), with t the upper alpha / (sides n) quantile
    of Student's t with n - 2 degrees of freedom. Source: the same page.

    >>> round(grubbs_critical(8, alpha=0.05), 4), round(grubbs_critical(8, alpha=0.05, sides=1), 4)
    (2.1266, 2.0317)

    Raises:
        ValueError: *n* is below 3, or *alpha* is not between 0 and 1.
    """
    if n < 3:
        raise ValueError(f"Grubbs' test needs at least 3 values, not {n}")
    t = t_upper_quantile(alpha / (sides * n), df=n - 2)
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def within(values: Sequence[float], place: int, floor: float) -> bool:
    """Return whether one value is no further than *floor* from the median of the others."""
    share = from_others(values, place)
    return share is not None and abs(share) <= floor


def distance(above: float, side: Side) -> float:
    """Return a signed distance as *side* counts it: on the other side it is negative."""
    match side:
        case Side.BOTH:
            return abs(above)
        case Side.HIGH:
            return above
        case Side.LOW:
            return -above
        case _:
            assert_never(side)


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


def furthest(distances: Sequence[float], *, critical: float) -> Outlying | None:
    """Return the largest distance, with all that tie with it, if it is over *critical*."""
    most = max(distances)
    if not most > critical:
        return None
    places = tuple(p for p, each in enumerate(distances) if each >= most - _TIE * abs(most))
    return Outlying(places=places, statistic=most, critical=critical)


def _mean_and_sd(values: Sequence[float]) -> tuple[float, float]:
    mean = math.fsum(values) / len(values)
    return mean, math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1))
