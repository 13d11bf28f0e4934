"""A sorted run that says each value once and how often it comes.

Pure. Frame logs have few different times: ten million frames of three digits are some ten
thousand values, so a run of any length stays small.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate
from typing import Any


class CountedRun(Sequence[float]):
    """A sorted sequence of values, some of them many times.

    Args:
        values: The different values, smallest first.
        counts: How often each comes.
    """

    __slots__ = ("_ends", "_values")

    def __init__(self, values: list[float], counts: list[int]) -> None:
        self._values = values
        self._ends = list(accumulate(counts))

    def __len__(self) -> int:
        """Return how many values there are, each as often as it comes."""
        return self._ends[-1] if self._ends else 0

    def __getitem__(self, place: Any) -> Any:
        """Return the value of a rank, or those of a slice with step 1 or -1."""
        if not isinstance(place, slice):
            return self._values[bisect_right(self._ends, range(len(self))[place])]
        ranks = range(len(self))[place]
        if ranks.step not in (1, -1):
            raise ValueError("a run is cut with step 1 or -1")
        if not ranks:
            return []
        first, last = min(ranks[0], ranks[-1]), max(ranks[0], ranks[-1])
        cut = []
        at = bisect_right(self._ends, first)
        while first <= last:
            end = min(self._ends[at], last + 1)
            cut += [self._values[at]] * (end - first)
            first = end
            at += 1
        return cut if ranks.step == 1 else cut[::-1]
