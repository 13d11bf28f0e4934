"""Values at some places against those at others: by how much do they stand out?

Pure. Few values are held against many of the same kind. Frame times have long tails, and one long
frame in sixty would be the whole answer of a plain mean, with an interval that knows nothing of
those that happened to be missed. So means are taken about the middle, what is further away than
``CUT_OFF`` robust standard deviations counting as that far (one step of P. J. Huber's estimator,
Ann. Math. Statist. 35 (1964) 73). Both sides are cut alike, each about its own middle: what is
added to every value is found whole, however much it is.

What happens at few of the places, and is long, would be cut away. So the far values are counted
on both sides: where there are more of them than chance explains, nothing is cut.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.variance import f_tail

CUT_OFF = 5.0  #: robust standard deviations from the middle; common practice, no source
CHANCE = 0.001  #: that far values are called too many where they are not
_NORMAL_MAD = 1.4826  # standard deviations of a normal distribution in its median deviation


@dataclass(frozen=True, slots=True, kw_only=True)
class StandsOut:
    """The difference of two means, and its standard error; *whole* where nothing was cut."""

    mean_ms: float
    error_ms: float
    whole: bool


def beyond(own: Sequence[float], others: Sequence[float]) -> StandsOut:
    """Return by how much *own* values are beyond *others*, of which there are many more.

    Args:
        own: Two values at least.
        others: Two values at least.
    """
    low, high = reach(others)
    middle, among = statistics.median(own), statistics.median(others)
    under, over = low - among, high - among
    far = sum(each - middle > over for each in own)
    usual = (sum(each > high for each in others) + 1.0) / (len(others) + 2.0)
    whole = not under < over or at_least(far, of=len(own), chance=usual) < CHANCE
    ours = own if whole else held(own, middle + under, middle + over)
    theirs = others if whole else held(others, among + under, among + over)
    error_ms = math.hypot(error_of_mean(ours), error_of_mean(theirs))
    mean_ms = statistics.fmean(ours) - statistics.fmean(theirs)
    return StandsOut(mean_ms=mean_ms, error_ms=error_ms, whole=whole)


def error_of_mean(values: Sequence[float]) -> float:
    """Return the standard error of the mean of two values or more."""
    mean = statistics.fmean(values)  # statistics.variance sums fractions: ten times as long
    squares = math.fsum([(each - mean) ** 2 for each in values])
    return math.sqrt(squares / (len(values) - 1) / len(values))


def held(values: Sequence[float], low: float, high: float) -> list[float]:
    """Return the values, those beyond a bound counting as far as the bound."""
    if low <= min(values) and max(values) <= high:
        return list(values)
    return [low if each < low else high if each > high else each for each in values]


def reach(values: Sequence[float]) -> tuple[float, float]:
    """Return the bounds beyond which a value is far; the ends where half of all are equal."""
    ordered = sorted(values)
    middle = ordered[len(ordered) // 2]
    away = sorted([abs(each - middle) for each in ordered])[len(ordered) // 2]
    if not away:
        return ordered[0], ordered[-1]
    return middle - CUT_OFF * _NORMAL_MAD * away, middle + CUT_OFF * _NORMAL_MAD * away


def at_least(count: int, *, of: int, chance: float) -> float:
    """Return the probability of *count* or more in *of* trials, each with *chance*, 0 < it < 1.

    That is I_p(k, n - k + 1) (NIST Digital Library of Mathematical Functions 8.17.5), here by
    way of F: a binomial coefficient of some thousand looks is beyond all floats.

    >>> round(at_least(2, of=3, chance=0.5), 6)
    0.5
    """
    if count <= 0 or count > of:
        return 1.0 if count <= 0 else 0.0
    df1, df2 = 2.0 * (of - count + 1), 2.0 * count
    return f_tail(df2 * (1.0 - chance) / (df1 * chance), df1=df1, df2=df2)
