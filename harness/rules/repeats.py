"""Where frames repeat the frames just before them: rows that were written twice.

Pure. The bounds are our own; common practice, no source.
"""

from __future__ import annotations

from array import array
from itertools import islice
from operator import eq

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

ROWS = 5  #: so many in a row come again at least
DIFFERENT = ROWS - 1  #: values among them at least: a level that is held is no repeat
MOST_APART = 10 * ROWS  #: from the first of them to where it comes again, at most


def first_repeat(values: Sequence[float]) -> tuple[int, int] | None:
    """Return the first place whose values repeat those just before it, and how many do.

    >>> first_repeat([1.0, 2.0, 3.0, 4.0, 5.0] + [1.0, 2.0, 3.0, 4.0, 5.0] + [6.0])
    (5, 5)
    """
    if len(values) < 2 * ROWS or not _may_repeat(values):
        return None
    seen: dict[tuple[float, ...], int] = {}
    for place, window in enumerate(zip(*(values[at:] for at in range(ROWS)), strict=False)):
        before = seen.get(window)
        if (
            before is not None
            and ROWS <= place - before <= MOST_APART
            and len(set(window)) >= DIFFERENT
            and values[before:place] == values[place : 2 * place - before]
        ):
            return place, place - before
        seen[window] = place
    return None


def times_each(values: Sequence[float]) -> int | None:
    """Return how often every value stands there, one copy behind the other; None: once.

    Equal neighbours alone say nothing: a coarse clock makes them everywhere. Here they lie at
    the same places of every group, and hardly ever between two groups.

    >>> times_each([1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0, 4.0, 5.0, 5.0])
    2
    """
    same = bytes(map(eq, values, islice(values, 1, None)))
    if 2 * sum(same) < _NEARLY_ALL * len(same):
        return None
    for often in _OFTEN:
        if len(values) < often * ROWS:
            return None
        for first in range(often):  # where, among so many, one group ends and the next begins
            between = same[first::often]
            within = len(same) - len(between)
            if sum(same) - sum(between) >= _NEARLY_ALL * within and 2 * sum(between) < len(between):
                return often
    return None


_OFTEN = (2, 3, 4)
_NEARLY_ALL = 0.95


def _may_repeat(values: Sequence[float]) -> bool:
    """Return whether a window of ``ROWS`` values comes again at all.

    To look up the window of every place takes as long as reading half the capture. But whatever
    comes again holds two neighbours of which the first has a place that four divides (``ROWS`` -
    1): so only those are looked for, as bytes, where they can be.
    """
    text = array("d", values).tobytes()
    size = len(text) // len(values)
    pair, least, most = 2 * size, ROWS * size, (MOST_APART + 2) * size
    return any(
        text.find(text[at : at + pair], at + least, at + most) >= 0
        and _comes_again(values, at // size)
        for at in range(0, len(text) - least, (ROWS - 1) * size)
    )


def _comes_again(values: Sequence[float], place: int) -> bool:
    """Return whether a window with the values at *place* and the next in it comes again."""
    start = max(0, place + 2 - ROWS)
    if len(set(values[start : place + ROWS])) < DIFFERENT:
        return False
    for first in range(start, place + 1):
        window = values[first : first + ROWS]
        if len(set(window)) >= DIFFERENT and any(
            values[again : again + ROWS] == window
            for again in range(first + ROWS, first + MOST_APART + 1)
        ):
            return True
    return False
