"""Warm enough? Whether the figures of successive warm-up passes agree.

Pure. A title is steady when the figures of its last two warm-up passes differ by no more than
the plan allows, as a fraction of the smaller. A pass without the figure (void, failed, not
measured) agrees with nothing. Two in a row: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence


def difference(figures: Sequence[float | None]) -> float | None:
    """Return how far the last two *figures* differ, as a fraction; None: not to be told.

    >>> difference([98.0, 100.0, 101.0])
    0.01
    """
    if len(figures) < 2:
        return None
    one, two = figures[-2:]
    if one is None or two is None:
        return None
    smaller = min(abs(one), abs(two))
    if smaller == 0:
        return 0.0 if one == two else None
    return abs(one - two) / smaller


def steady(figures: Sequence[float | None], *, within: float) -> bool:
    """Return whether the last two *figures* agree."""
    apart = difference(figures)
    return apart is not None and apart <= within
