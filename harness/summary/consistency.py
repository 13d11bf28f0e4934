"""Does one rig stand out among several: Cochran, Grubbs for one and for two, Mandel's h and k.

Pure. After ISO 5725-2:1994, 7.3, and ASTM E691. Cochran's test looks at spreads, Grubbs' at
means; Mandel's statistics put both on one scale for every rig. A statistic beyond its 5 %
critical value makes a *straggler*, beyond its 1 % value an *outlier*: the standard's words.

Closed forms: Cochran's critical value is F / (F + p - 1), with F the upper alpha / p quantile of F
with n - 1 and (p - 1)(n - 1) degrees of freedom; Grubbs' is that of ``harness.rules.outliers``,
two-sided; Mandel's are h = (p - 1) t / sqrt(p (t^2 + p - 2)), t the two-sided quantile with p - 2
degrees of freedom, and k = sqrt(p / (1 + (p - 1) F)), F the lower alpha quantile with
(p - 1)(n - 1) and n - 1 degrees (P.-Th. Wilrich, AStA Advances in Statistical Analysis 97 (2013)
1-10, from memory). Grubbs' test for two has none: its table is below.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from harness.rules.outliers import grubbs_critical
from harness.rules.student import t_upper_quantile
from harness.rules.variance import f_quantile

#: Levels of a straggler and of an outlier.
STRAGGLER, OUTLIER = 0.05, 0.01

#: Critical values of Grubbs' test for the two largest or the two smallest of p means, two-sided:
#: p: (5 %, 1 %). ISO 5725-2:1994, Table 5 (from memory); 2 million samples of each p gave the
#: same within 0.0006. The statistic is beyond them where it is *smaller*.
GRUBBS_TWO: dict[int, tuple[float, float]] = {
    4: (0.0002, 0.0000), 5: (0.0090, 0.0018), 6: (0.0349, 0.0116), 7: (0.0708, 0.0308),
    8: (0.1101, 0.0563), 9: (0.1492, 0.0851), 10: (0.1864, 0.1150), 11: (0.2213, 0.1448),
    12: (0.2537, 0.1738), 13: (0.2836, 0.2016), 14: (0.3112, 0.2280), 15: (0.3367, 0.2530),
    16: (0.3603, 0.2767), 17: (0.3822, 0.2990), 18: (0.4025, 0.3200), 19: (0.4214, 0.3398),
    20: (0.4391, 0.3585),
}  # fmt: skip


class Standing(enum.Enum):
    """What a test says of the rigs it singles out."""

    IN_ORDER = "in order"
    STRAGGLER = "straggler"
    OUTLIER = "outlier"


@dataclass(frozen=True, slots=True, kw_only=True)
class Consistency:
    """One test over all rigs.

    Args:
        name: Its name.
        places: The rigs it looks at: the furthest out, by their place.
        statistic: How far out.
        critical_5: Critical value at 5 %; ``critical_1`` at 1 %.
        critical_1: See above.
        standing: What follows.
    """

    name: str
    places: tuple[int, ...]
    statistic: float
    critical_5: float
    critical_1: float
    standing: Standing


def cochran(variances: Sequence[float], *, n: int) -> Consistency | None:
    """Return Cochran's test of the largest variance; None where there is nothing to test.

    Args:
        variances: Of each rig, at least two.
        n: Values of each; where rigs have several numbers, the one that most have.
    """
    total = math.fsum(variances)
    if len(variances) < 2 or n < 2 or total <= 0.0:
        return None
    place = max(range(len(variances)), key=variances.__getitem__)
    p = len(variances)
    return _test(
        "Cochran",
        (place,),
        variances[place] / total,
        [cochran_critical(p, n, alpha=alpha) for alpha in (STRAGGLER, OUTLIER)],
    )


@lru_cache(maxsize=256)
def cochran_critical(p: int, n: int, *, alpha: float) -> float:
    """Return the critical value of Cochran's C for *p* variances of *n* values each.

    >>> round(cochran_critical(8, 3, alpha=0.05), 3)
    0.516
    """
    f = f_quantile(1.0 - alpha / p, df1=n - 1, df2=(p - 1) * (n - 1))
    return f / (f + p - 1)


def grubbs_one(means: Sequence[float]) -> Consistency | None:
    """Return Grubbs' test of the mean furthest out; None below three, or where all are equal."""
    p = len(means)
    if p < 3:
        return None
    away, squares = _away(means)
    if squares <= 0.0:
        return None
    place = max(range(p), key=lambda each: abs(away[each]))
    statistic = abs(away[place]) / math.sqrt(squares / (p - 1))
    critical = [grubbs_critical(p, alpha=alpha) for alpha in (STRAGGLER, OUTLIER)]
    return _test("Grubbs", (place,), statistic, critical)


def grubbs_two(means: Sequence[float]) -> Consistency | None:
    """Return Grubbs' test of the two largest or smallest means, whichever stand further out.

    None below four and above twenty means, for which there is no table, or where all are equal.
    """
    p = len(means)
    if p not in GRUBBS_TWO:
        return None
    _, squares = _away(means)
    if squares <= 0.0:
        return None
    order = sorted(range(p), key=means.__getitem__)
    pairs = (tuple(order[:2]), tuple(order[-2:]))

    def left(pair: tuple[int, ...]) -> float:
        return _away([mean for place, mean in enumerate(means) if place not in pair])[1] / squares

    pair = min(pairs, key=left)
    statistic, (five, one) = left(pair), GRUBBS_TWO[p]
    standing = Standing.IN_ORDER
    if statistic < five:
        standing = Standing.OUTLIER if statistic < one else Standing.STRAGGLER
    return Consistency(
        name="Grubbs for two",
        places=tuple(sorted(pair)),
        statistic=statistic,
        critical_5=five,
        critical_1=one,
        standing=standing,
    )


def mandel_h(means: Sequence[float]) -> tuple[float, ...] | None:
    """Return h of each rig: how far its mean lies from that of all, in their standard deviation."""
    away, squares = _away(means)
    if len(means) < 3 or squares <= 0.0:
        return None
    sd = math.sqrt(squares / (len(means) - 1))
    return tuple(each / sd for each in away)


def mandel_k(variances: Sequence[float]) -> tuple[float, ...] | None:
    """Return k of each rig: its spread in the spread common to all."""
    common = math.fsum(variances) / len(variances)
    if len(variances) < 2 or common <= 0.0:
        return None
    return tuple(math.sqrt(each / common) for each in variances)


@lru_cache(maxsize=64)
def h_critical(p: int, *, alpha: float) -> float:
    """Return the critical value of |h| for *p* rigs, at least three.

    >>> round(h_critical(8, alpha=0.005), 2)
    2.15
    """
    t = t_upper_quantile(alpha / 2.0, df=p - 2)
    return (p - 1) * t / math.sqrt(p * (t * t + p - 2))


@lru_cache(maxsize=64)
def k_critical(p: int, n: int, *, alpha: float) -> float:
    """Return the critical value of k for *p* rigs of *n* values each, both at least two.

    >>> round(k_critical(8, 3, alpha=0.005), 2)
    2.06
    """
    f = f_quantile(alpha, df1=(p - 1) * (n - 1), df2=n - 1)
    return math.sqrt(p / (1.0 + (p - 1) * f))


def _test(
    name: str, places: tuple[int, ...], statistic: float, critical: Sequence[float]
) -> Consistency:
    five, one = critical
    standing = Standing.IN_ORDER
    if statistic > five:
        standing = Standing.OUTLIER if statistic > one else Standing.STRAGGLER
    return Consistency(
        name=name,
        places=places,
        statistic=statistic,
        critical_5=five,
        critical_1=one,
        standing=standing,
    )


def _away(values: Sequence[float]) -> tuple[list[float], float]:
    """Return the distance of each value from their mean, and the sum of their squares."""
    mean = math.fsum(values) / len(values)
    away = [value - mean for value in values]
    return away, math.fsum(each * each for each in away)
