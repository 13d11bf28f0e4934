"""An exponentially weighted moving average of values measured again and again.

Pure. z_i = weight x_i + (1 - weight) z_(i-1), beginning at the centre; its limits are
centre +- reach sd sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 i))): narrow for the first values
and growing to the limits for many (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; the
exact variance: J. S. Hunter, Journal of Quality Technology 18 (1986) 203-210, from memory).
Small steps that no single value shows add up in it. A weight of 0.2 and a reach of 3 are common
practice; what they find, and how soon, is measured by ``scripts/promises``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: Share of the newest value.
WEIGHT = 0.2

#: Width of the limits, in standard deviations of the average.
REACH = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Average:
    """The average after one value, and its limits there."""

    z: float
    low: float
    high: float


def ewma(
    values: Sequence[float],
    *,
    centre: float,
    sd: float,
    weight: float = WEIGHT,
    reach: float = REACH,
    told_by: int | None = None,
) -> tuple[Average, ...]:
    """Return the average after each of *values*.

    Args:
        values: In the order they were measured.
        centre: Where it begins, and the middle of the limits.
        sd: Standard deviation of a value.
        weight: Of the newest value, above 0 and at most 1.
        reach: Of the limits, in standard deviations of the average.
        told_by: From how many values *centre* was told, whose own error then widens the limits
            (1 / n beside the variance above); None: it is known.

    Raises:
        ValueError: *weight* is no such share, or *sd* is negative.

    >>> [round(each.z, 2) for each in ewma([52.0, 47.0], centre=50.0, sd=2.0539, weight=0.3)]
    [50.6, 49.52]
    """
    if not 0.0 < weight <= 1.0 or sd < 0.0:
        raise ValueError(f"no moving average has the weight {weight!r} and the spread {sd!r}")
    found = []
    z, left = centre, 1.0
    own = 0.0 if told_by is None else 1.0 / told_by
    for value in values:
        z = value + (1.0 - weight) * (z - value)  # so written, equal values stay what they are
        left *= (1.0 - weight) ** 2
        half = reach * sd * math.sqrt(weight / (2.0 - weight) * (1.0 - left) + own)
        found.append(Average(z=z, low=centre - half, high=centre + half))
    return tuple(found)
