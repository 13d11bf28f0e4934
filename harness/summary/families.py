"""Many tests at once: p-values corrected for the size of their family.

Pure. Holm (S. Holm, Scandinavian Journal of Statistics 6 (1979) 65-70) keeps the chance that
any of the family's claims is wrong at the level; Benjamini and Hochberg (Journal of the Royal
Statistical Society B 57 (1995) 289-300) the expected share of wrong ones among the claims, for
independent tests.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from typing import assert_never


class Correction(enum.Enum):
    """How the words of many rows are corrected."""

    HOLM = "holm"
    BH = "bh"
    NONE = "none"


def corrected(p_values: Sequence[float], *, by: Correction) -> tuple[float, ...]:
    """Return *p_values* corrected, in the same order.

    >>> corrected([0.01, 0.04, 0.03], by=Correction.HOLM)
    (0.03, 0.06, 0.06)
    """
    match by:
        case Correction.HOLM:
            return _holm(p_values)
        case Correction.BH:
            return _benjamini_hochberg(p_values)
        case Correction.NONE:
            return tuple(p_values)
        case _:
            assert_never(by)


def _holm(p_values: Sequence[float]) -> tuple[float, ...]:
    count, most = len(p_values), 0.0
    found = [0.0] * count
    for place, index in enumerate(sorted(range(count), key=p_values.__getitem__)):
        most = max(most, min(1.0, (count - place) * p_values[index]))
        found[index] = most
    return tuple(found)


def _benjamini_hochberg(p_values: Sequence[float]) -> tuple[float, ...]:
    count, least = len(p_values), 1.0
    found = [0.0] * count
    order = sorted(range(count), key=p_values.__getitem__)
    for place in range(count - 1, -1, -1):
        index = order[place]
        least = min(least, count / (place + 1) * p_values[index])
        found[index] = least
    return tuple(found)
