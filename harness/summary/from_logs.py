"""Logarithms of ratios, taken back: the largest number there is where they say nothing at all.

Pure. An interval of two values that lie decades apart reaches further than any number does.
"""

from __future__ import annotations

import math

_FURTHEST = 700.0


def ratio(log_ratio: float) -> float:
    """Return the ratio that a logarithm is of.

    >>> ratio(0.0), ratio(9999.0) == ratio(700.0)
    (1.0, True)
    """
    return math.exp(min(log_ratio, _FURTHEST))


def fraction(log_ratio: float) -> float:
    """Return the ratio minus one: 0.112 is 11.2 %."""
    return math.expm1(min(log_ratio, _FURTHEST))
