"""Two clocks read one after the other, as they were at one moment as nearly as can be had.

Pure. The clocks are handed in.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

_T = TypeVar("_T")

#: Where more than this lies between two readings of one clock, seconds, the process was kept
#: waiting there, and both are read again, so many times at the most.
_MOST_APART_S, _READINGS = 0.01, 5
#: A suspend shorter than this cannot be told from the reading of two clocks, seconds.
LEAST_SLEEP_S = 0.05


def at_one_moment(clock_s: Callable[[], float], other: Callable[[], _T]) -> tuple[float, _T]:
    """Return what *clock_s* says, in seconds, and what *other* says then."""
    found: list[tuple[float, float, _T]] = []
    while len(found) < _READINGS:
        before_s, told, after_s = clock_s(), other(), clock_s()
        found.append((after_s - before_s, (before_s + after_s) / 2, told))
        if after_s - before_s <= _MOST_APART_S:
            break
    _, at_s, told = min(found, key=lambda each: each[0])
    return at_s, told
