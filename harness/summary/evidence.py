"""Two sides' passes -> the logarithm of their ratio, its standard error, and what it rests on.

Pure. What is estimated is ln(geometric mean of against / geometric mean of base). The unit of
evidence, what counts as one independent value, is fixed by how the run was carried out, never
by how the numbers look:

    visit   where a person changed the hardware between the sides: the passes of one visit
            share whatever that hand did, and count as one value, their mean
    run     where several runs are named for a side: what is common to the passes of a run or
            night (a boot, the room) is one draw however many passes share it, so each run
            counts as one value, its mean; paired where both sides were measured in each run.
            That is the layout of GUM (JCGM 100:2008) H.5, its days being runs
    night   the same for the nights of one run, where it is declared (``--unit night``)
    round   where both sides were measured in the same rounds: the difference within a round,
            from which drift over the night is gone (paired)
    pass    else: two independent samples

Two samples: difference +- t se with se^2 = v1/n1 + v2/n2 (B. L. Welch, Biometrika 34 (1947)
28-35), the degrees of freedom of F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.
Pairs: the mean difference with sd / sqrt(n), n - 1 degrees of freedom.

Where a cell's first passes fixed how many it has (C. Stein, ``harness.rules.enough``), their
spread stands for that of all: the usual one would make an interval of 95 % hold the margin in
88 of 100. Each side then is an exact t of its own, and their difference is no t (D. G. Chapman,
Annals of Mathematical Statistics 21 (1950) 601-606, from memory); the smaller number of degrees
of freedom is taken for it, which keeps the promise (scripts/promises).

The variance may be pooled over the cells of a title (NIST/SEMATECH e-Handbook of Statistical
Methods, 7.3.1) where Bartlett's test (e-Handbook 1.3.5.7) does not tell their spreads apart at
50 %, and only for rows that an F test (e-Handbook 1.3.5.9) against all the others does not call
noisier at 30 %. These levels are our choice, lax ones: with three passes a cell a test sees
little, and pooling what differs does more harm than leaving apart what does not. At 20 % and
without the second test the interval of a row twice as noisy as the others holds the truth in 82
of 100; so, in 94 (scripts/promises). What is left of the gain is small, since no test tells a
quiet row from a lucky one: intervals of three passes are a sixth narrower, of five hardly. So
pooling is done only where it is asked for.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from harness.rules.variance import chi2_tail, f_tail

#: Spreads that Bartlett's test tells apart at this level are not pooled.
POOL_ABOVE = 0.50

#: A row that is told at this level to be noisier than the others keeps its own spread.
NOISIER_BELOW = 0.30


#: What a value was drawn in: a run, and there the number of a night, or those of a visit.
Draw = tuple[str, tuple[int, ...]]


class Unit(enum.Enum):
    """What counts as one independent value."""

    RUN = "run"
    NIGHT = "night"
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
        draws: Where the unit is one that rows of other titles share (a run, a night, a visit):
            its values by what they were drawn in, of each sample; else empty.
    """

    log_ratio: float
    se: float | None
    df: float
    unit: Unit
    paired: bool
    spreads: tuple[Spread, ...]
    pooled_over: int = 0
    draws: tuple[Mapping[Draw, float], ...] = ()

    @property
    def n(self) -> tuple[int, int]:
        """Return the values of base and against."""
        return self.spreads[0].n, self.spreads[-1].n


def two_samples(
    base: Sequence[float],
    against: Sequence[float],
    *,
    unit: Unit = Unit.PASS,
    pilots: tuple[Sequence[float], Sequence[float]] = ((), ()),
) -> Evidence:
    """Return the evidence of two independent samples of logarithms, each of at least one.

    With a single value on a side there is no standard error.

    Args:
        base: Values of one side.
        against: Of the other.
        unit: What counts as one value.
        pilots: Those among them that fixed how many there are; fewer than two: others did.
    """
    first, second = _mean_and_spread(base), _mean_and_spread(against)
    sized = [
        replace(_mean_and_spread(pilot)[1], n=spread.n) if len(pilot) > 1 else None
        for (_, spread), pilot in zip((first, second), pilots, strict=True)
    ]
    spreads = (sized[0] or first[1], sized[1] or second[1])
    se, df = _welch(spreads) if all(each.df for each in spreads) else (None, 0.0)
    if se is not None and any(sized):
        df = float(min(each.df for each in spreads))
    return Evidence(
        log_ratio=second[0] - first[0], se=se, df=df, unit=unit, paired=False, spreads=spreads
    )


def of_draws(*samples: Mapping[Draw, float], unit: Unit) -> Evidence:
    """Return the evidence of values by the run, night or visit that they were drawn in.

    Args:
        samples: The differences of pairs, or base and against as two samples; no sample empty.
        unit: What they were drawn in.
    """
    if len(samples) == 1:
        [both] = samples
        found = pairs([0.0] * len(both), list(both.values()), unit=unit)
    else:
        base, against = samples
        found = two_samples(list(base.values()), list(against.values()), unit=unit)
    return replace(found, draws=samples)


def pairs(base: Sequence[float], against: Sequence[float], *, unit: Unit = Unit.ROUND) -> Evidence:
    """Return the evidence of rounds: logarithms of both sides, round by round, at least one."""
    differences = [b - a for a, b in zip(base, against, strict=True)]
    mean, spread = _mean_and_spread(differences)
    se = math.sqrt(spread.variance / spread.n) if spread.df else None
    return Evidence(log_ratio=mean, se=se, df=spread.df, unit=unit, paired=True, spreads=(spread,))


def pool(family: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """Return *family*, the rows of one title, with their variance pooled where that may be.

    Rows are pooled with rows of the same unit and form only. Where spreads differ, where one
    sample has no spread at all, and where there is one sample alone, rows stay as they are.
    """
    found: dict[tuple[Unit, bool], list[Spread]] = {}
    for each in family:
        found.setdefault((each.unit, each.paired), []).extend(each.spreads)
    common = {kind: _common(spreads) for kind, spreads in found.items()}
    return tuple(
        each
        if (of_kind := common[each.unit, each.paired]) is None or _noisier(each, of_kind)
        else _with(each, of_kind)
        for each in family
    )


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


def _noisier(row: Evidence, common: tuple[float, int, int]) -> bool:
    """Return whether *row* is told to be noisier than the others that *common* is of."""
    variance, df, _ = common
    own_df = sum(each.df for each in row.spreads)
    squares = math.fsum(each.df * each.variance for each in row.spreads)
    if not own_df or own_df >= df:
        return False
    others = (df * variance - squares) / (df - own_df)
    return others > 0.0 and f_tail(squares / own_df / others, df1=own_df, df2=df - own_df) < (
        NOISIER_BELOW
    )


def _common(spreads: Sequence[Spread]) -> tuple[float, int, int] | None:
    p = bartlett(spreads)
    if p is None or p < POOL_ABOVE:
        return None
    used = [each for each in spreads if each.df]
    df = sum(each.df for each in used)
    return math.fsum(each.df * each.variance for each in used) / df, df, len(used)


def _with(each: Evidence, common: tuple[float, int, int]) -> Evidence:
    variance, df, samples = common
    se = math.sqrt(variance * math.fsum(1.0 / spread.n for spread in each.spreads))
    return replace(each, se=se, df=float(df), pooled_over=samples)


def _mean_and_spread(values: Sequence[float]) -> tuple[float, Spread]:
    n = len(values)
    # About the first value: the mean of equal values is that value, and their spread is none.
    mean = values[0] + math.fsum(each - values[0] for each in values) / n
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
