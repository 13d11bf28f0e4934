"""One-way analysis of variance, and what the nights of one rig have between them.

Pure. Groups of values (the passes of each night, the passes of each rig) with any numbers of
values. Sums of squares between and within groups and F = (SSB / dfB) / (SSW / dfW) are those of
the NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3; they are taken about the group means,
never as differences of large sums. The variance between groups is (MSB - MSW) / n0, never below
0, with n0 = (N - sum n_i^2 / N) / (p - 1) (ISO 5725-2:1994, 7.4.5).
The mean of all has two uncertainties after the Guide to the Expression of Uncertainty in
Measurement, JCGM 100:2008, H.5: sqrt(MSB / N) with p - 1 degrees of freedom, which holds whether
groups differ or not, and the pooled one, which holds only where they do not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.variance import f_tail


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The values of one group: how many, their mean, their sum of squares about it."""

    n: int
    mean: float
    squares: float

    @property
    def sd(self) -> float | None:
        """Return the sample standard deviation; None for one value."""
        return math.sqrt(self.squares / (self.n - 1)) if self.n > 1 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWay:
    """What a one-way analysis of variance gives.

    Args:
        groups: How many groups.
        n: How many values.
        mean: Mean of all values.
        ss_between: Sum of squares between groups; ``ss_within`` that within them.
        ss_within: See above.
        n0: Values in a group, as the variance between groups counts them.
    """

    groups: int
    n: int
    mean: float
    ss_between: float
    ss_within: float
    n0: float

    @property
    def df_between(self) -> int:
        """Return the degrees of freedom between groups."""
        return self.groups - 1

    @property
    def df_within(self) -> int:
        """Return the degrees of freedom within groups; 0 where each has one value."""
        return self.n - self.groups

    @property
    def ms_between(self) -> float:
        """Return the mean square between groups."""
        return self.ss_between / self.df_between

    @property
    def ms_within(self) -> float | None:
        """Return the mean square within groups; None where each has one value."""
        return self.ss_within / self.df_within if self.df_within else None

    @property
    def f(self) -> float | None:
        """Return F; None where nothing varies within groups."""
        within = self.ms_within
        return self.ms_between / within if within else None

    @property
    def p(self) -> float | None:
        """Return the chance of an F as large or larger where groups do not differ."""
        if self.f is None:
            return None
        return f_tail(self.f, df1=self.df_between, df2=self.df_within)

    @property
    def sd_within(self) -> float | None:
        """Return the standard deviation within groups."""
        within = self.ms_within
        return None if within is None else math.sqrt(within)

    @property
    def sd_between(self) -> float | None:
        """Return the standard deviation between groups, over and above that within them."""
        within = self.ms_within
        if within is None:
            return None
        return math.sqrt(max(0.0, (self.ms_between - within) / self.n0))

    @property
    def u_mean(self) -> float:
        """Return the standard uncertainty of the mean, the group as unit (GUM H.5.2.5)."""
        return math.sqrt(self.ms_between / self.n)

    @property
    def u_mean_pooled(self) -> float:
        """Return the same if groups did not differ: N - 1 degrees of freedom (GUM H.5.2.4)."""
        return math.sqrt((self.ss_between + self.ss_within) / (self.n - 1) / self.n)


def group(values: Sequence[float]) -> Group:
    """Return one group of *values*, at least one."""
    # About the first value: the digits of a large common part are not spent on it.
    first = values[0]
    rest = [value - first for value in values]
    middle = math.fsum(rest) / len(rest)
    squares = math.fsum((each - middle) ** 2 for each in rest)
    return Group(n=len(values), mean=first + middle, squares=squares)


def one_way(groups: Sequence[Group]) -> OneWay:
    """Return the analysis of two groups or more.

    Raises:
        ValueError: There are fewer than two.

    >>> found = one_way([group([6.9, 5.4, 5.8]), group([8.3, 6.8, 7.8]), group([8.0, 10.5, 8.1])])
    >>> round(found.f, 3), found.df_between, found.df_within
    (5.694, 2, 6)
    """
    if len(groups) < 2:
        raise ValueError("variance between groups needs two groups")
    n = sum(each.n for each in groups)
    first = groups[0].mean
    middle = math.fsum(each.n * (each.mean - first) for each in groups) / n
    between = math.fsum(each.n * (each.mean - first - middle) ** 2 for each in groups)
    squares = sum(each.n * each.n for each in groups)
    return OneWay(
        groups=len(groups),
        n=n,
        mean=first + middle,
        ss_between=between,
        ss_within=math.fsum(each.squares for each in groups),
        n0=(n - squares / n) / (len(groups) - 1),
    )
