"""Two sides' passes -> the logarithm of their ratio, its standard error, and what it rests on.

Pure. What is estimated is ln(geometric mean of against / geometric mean of base). The unit of
evidence, what counts as one independent value, is fixed by how the run was carried out, never
by how the numbers look:

    visit   where a person changed the hardware between the sides: the passes of one visit
            share whatever that hand did, and count as one value, their mean
    round   where both sides were measured in the same rounds: the difference within a round,
            from which drift over the night is gone (paired)
    pass    else: two independent samples

Two samples: difference +- t se with se^2 = v1/n1 + v2/n2 (B. L. Welch, Biometrika 34 (1947)
28-35), the degrees of freedom of F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.
Pairs: the mean difference with sd / sqrt(n), n - 1 degrees of freedom.

The variance may be pooled over the cells of a title (NIST/SEMATECH e-Handbook of Statistical
Methods, 7.3.1) where Bartlett's test (e-Handbook 1.3.5.7) does not tell their spreads apart at
20 %. That level is our choice: a lax one, since pooling what differs does more harm than
leaving apart what does not. With three passes a cell the test sees little: where spreads differ
by half, the interval of the noisiest row holds the truth in 92 of 100 and no longer in 95
(scripts/promises). So pooling is done only where it is asked for.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from harness.rules.variance import chi2_tail

#: Spreads that Bartlett's test tells apart at this level are not pooled.
POOL_ABOVE = 0.20


class Unit(enum.Enum):
    """What counts as one independent value."""

    VISIT = "visit"
    ROUND = "round"
    PASS = "pass"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """The variance of one sample of logarithms.

    Args:
        variance: Sample variance (n - 1); 0 where *df* is 0.
        df: Degrees of freedom, n - 1.
        n: Values; the mean's variance is ``variance / n``.
    """

    variance: float
    df: int
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known of ln(against / base).

    Args:
        log_ratio: The estimate.
        se: Its standard error; None where nothing tells a spread.
        df: Degrees of freedom of *se*; 0 where there is none.
        unit: What counts as one value.
        paired: Whether the sides are differences within rounds.
        spreads: One sample for pairs, two otherwise: base, against.
        pooled_over: Over how many samples the variance was pooled; 0: this row's own.
    """

    log_ratio: float
    se: float | None
    df: float
    unit: Unit
    paired: bool
    spreads: tuple[Spread, ...]
    pooled_over: int = 0

    @property
    def n(self) -> tuple[int, int]:
        """Return the values of base and against."""
        return self.spreads[0].n, self.spreads[-1].n


def two_samples(
    base: Sequence[float], against: Sequence[float], *, unit: Unit = Unit.PASS
) -> Evidence:
    """Return the evidence of two independent samples of logarithms, each of at least one.

    With a single value on a side there is no standard error.
    """
    first, second = _mean_and_spread(base), _mean_and_spread(against)
    spreads = (first[1], second[1])
    se, df = _welch(spreads) if all(each.df for each in spreads) else (None, 0.0)
    return Evidence(
        log_ratio=second[0] - first[0], se=se, df=df, unit=unit, paired=False, spreads=spreads
    )


def pairs(base: Sequence[float], against: Sequence[float]) -> Evidence:
    """Return the evidence of rounds: logarithms of both sides, round by round, at least one."""
    differences = [b - a for a, b in zip(base, against, strict=True)]
    mean, spread = _mean_and_spread(differences)
    se = math.sqrt(spread.variance / spread.n) if spread.df else None
    return Evidence(
        log_ratio=mean, se=se, df=spread.df, unit=Unit.ROUND, paired=True, spreads=(spread,)
    )


def pool(family: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """Return *family*, the rows of one title, with their variance pooled where that may be.

    Rows are pooled with rows of the same unit and form only. Where spreads differ, where one
    sample has no spread at all, and where there is one sample alone, rows stay as they are.
    """
    found: dict[tuple[Unit, bool], list[Spread]] = {}
    for each in family:
        found.setdefault((each.unit, each.paired), []).extend(each.spreads)
    common = {kind: _common(spreads) for kind, spreads in found.items()}
    return tuple(_with(each, common[each.unit, each.paired]) for each in family)


def bartlett(spreads: Iterable[Spread]) -> float | None:
    """Return the p-value of Bartlett's test of equal variances; None where it cannot be made.

    It cannot with fewer than two samples, or where one has no spread at all.
    """
    used = [each for each in spreads if each.df]
    if len(used) < 2 or any(each.variance <= 0.0 for each in used):
        return None
    df = sum(each.df for each in used)
    pooled = math.fsum(each.df * each.variance for each in used) / df
    top = df * math.log(pooled) - math.fsum(each.df * math.log(each.variance) for each in used)
    corrected = 1.0 + (math.fsum(1.0 / each.df for each in used) - 1.0 / df) / (
        3.0 * (len(used) - 1)
    )
    return chi2_tail(max(0.0, top / corrected), df=len(used) - 1)


def _common(spreads: Sequence[Spread]) -> tuple[float, int, int] | None:
    p = bartlett(spreads)
    if p is None or p < POOL_ABOVE:
        return None
    used = [each for each in spreads if each.df]
    df = sum(each.df for each in used)
    return math.fsum(each.df * each.variance for each in used) / df, df, len(used)


def _with(each: Evidence, common: tuple[float, int, int] | None) -> Evidence:
    if common is None:
        return each
    variance, df, samples = common
    se = math.sqrt(variance * math.fsum(1.0 / spread.n for spread in each.spreads))
    return replace(each, se=se, df=float(df), pooled_over=samples)


def _mean_and_spread(values: Sequence[float]) -> tuple[float, Spread]:
    n = len(values)
    mean = math.fsum(values) / n
    variance = math.fsum((each - mean) ** 2 for each in values) / (n - 1) if n > 1 else 0.0
    return mean, Spread(variance=variance, df=n - 1, n=n)


def _welch(spreads: Sequence[Spread]) -> tuple[float, float]:
    """Return the standard error of a difference of means, and its degrees of freedom."""
    parts = [each.variance / each.n for each in spreads]
    total = math.fsum(parts)
    if total <= 0.0:
        return 0.0, float(sum(each.df for each in spreads))
    # Shares first: squares of tiny variances would be lost.
    shares = [part / total for part in parts]
    df = 1.0 / math.fsum(s * s / each.df for s, each in zip(shares, spreads, strict=True))
    return math.sqrt(total), df
