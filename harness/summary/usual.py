"""What is usual for a value that is measured again and again: an individuals chart's limits.

Pure. The limits are the mean of the last values plus and minus 2.66 times the mean of their
moving ranges of two: 3 / d2 with d2 = 1.128 for ranges of two (NIST/SEMATECH e-Handbook of
Statistical Methods, 6.3.2.2). They are provisional below twenty values, and none are given
below eight, where they would be little more than a guess (common practice, no source).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.student import normal_tail, t_upper_quantile

#: Values the limits are taken over, the last ones.
VALUES = 20

#: Fewer values than this give no limits.
LEAST = 8

#: 3 / d2, with d2 = 1.128 (the handbook prints it so).
FACTOR = 3.0 / 1.128

#: Limits are never nearer to the centre than this share of it: that is rounding, not noise.
ROUNDING = 1e-9

#: Upper limit of moving ranges of two, in their mean (D4 of the same table).
RANGE_FACTOR = 3.267


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Where values are expected to lie, in their own unit; ``values`` is how many say so."""

    centre: float
    low: float
    high: float
    values: int

    @property
    def provisional(self) -> bool:
        """Return whether fewer than twenty values say so."""
        return self.values < VALUES

    @property
    def sd(self) -> float:
        """Return the standard deviation of a value, as its moving ranges tell it."""
        return (self.high - self.centre) / 3.0

    @property
    def range_high(self) -> float:
        """Return how far two values that follow each other may lie apart."""
        return RANGE_FACTOR * (self.high - self.centre) / FACTOR


def individuals(values: Sequence[float], *, last: int = VALUES) -> Limits | None:
    """Return the limits of the *last* of *values*, in the order measured; None for too few.

    >>> limits = individuals([10.0, 11.0, 10.0, 11.0, 10.0, 11.0, 10.0, 11.0])
    >>> round(limits.low, 2), limits.centre, limits.values
    (7.84, 10.5, 8)
    """
    used = values[-last:]
    if len(used) < LEAST:
        return None
    # About the first value: the mean of equal values is that value.
    centre = used[0] + math.fsum(each - used[0] for each in used) / len(used)
    ranges = [abs(b - a) for a, b in itertools.pairwise(used)]
    reach = max(FACTOR * math.fsum(ranges) / len(ranges), ROUNDING * abs(centre))
    return Limits(centre=centre, low=centre - reach, high=centre + reach, values=len(used))


def widened(reach: float, *, values: int) -> float:
    """Return by how many standard deviations limits must stand off that keep their promise.

    A spread told by the mean moving range of few values is itself uncertain: as that of
    (n - 1)^2 / (2 (0.8264 n - 1.082)) degrees of freedom (its variance: J. D. Cryer, T. P. Ryan,
    Journal of Quality Technology 22 (1990) 187-192, from memory; ``scripts/promises`` measures
    what follows). So the normal quantile *reach* becomes Student's with the same tail.

    >>> round(widened(3.0, values=20), 2), round(widened(3.0, values=1000), 2)
    (3.79, 3.01)
    """
    freedom = (values - 1) ** 2 / (2.0 * (0.8264 * values - 1.082))
    return t_upper_quantile(normal_tail(reach), df=freedom)
