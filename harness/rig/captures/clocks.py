"""Durations that rise as a clock does: values of another kind than was declared.

Pure. Frame times go up and down from one to the next; instants and counts never go back. The
bounds are our own; common practice, no source.
"""

from __future__ import annotations

from itertools import pairwise

from harness.rig.captures.trouble import Trouble

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Line = Callable[[int], int | None]

LOOKED_AT = 512  #: of the first frames
LONGEST_RUN = 50  #: so many frames in a row never all rise, nor all fall
_MOVES = 8  # of them must really rise, where a coarse clock stands still in between
_FEWEST = 8  # frames that rise nearly all the way, and far
_NEARLY = 0.9


class Durations:
    """The first durations of a capture, piece by piece.

    Args:
        unit: Their unit, to be shown.
        remarks: Takes what is to be said of them.
    """

    __slots__ = (
        "_before",
        "_begin",
        "_line",
        "_moves",
        "_remarks",
        "_run",
        "_sign",
        "_taken",
        "_unit",
    )

    def __init__(self, unit: str, remarks: list[str]) -> None:
        self._unit = unit
        self._remarks = remarks
        self._taken = 0
        self._before: float | None = None
        self._sign = 0  # 1: they rise, -1: they fall, 0: they have not moved yet
        self._begin = 0.0  # of the run that does
        self._line: int | None = None
        self._run = 0
        self._moves = 0

    @property
    def room(self) -> int:
        """Return how many more are looked at."""
        return LOOKED_AT - self._taken

    def take(self, head: Sequence[float], rows: Sequence[int], line: Line) -> None:
        """Look at the next durations; *line* gives the line of each of their *rows*.

        Raises:
            Trouble: they rise, or fall, as no frame times do.
        """
        first = not self._taken
        self._taken += len(head)
        if first and len(head) >= _FEWEST:
            self._refuse_far(head, line(rows[0]))
        for value, row in zip(head, rows, strict=False):
            self._next(value, row, line)

    def _next(self, value: float, row: int, line: Line) -> None:
        before, self._before = self._before, value
        step = 0 if before is None or value == before else 1 if value > before else -1
        if before is None or step * self._sign < 0:
            self._begin, self._line = value if before is None else before, line(row)
            self._run, self._moves, self._sign = 1 if before is None else 2, abs(step), step
            return
        self._sign = self._sign or step
        self._run += 1
        self._moves += abs(step)
        if self._run >= LONGEST_RUN and self._moves >= _MOVES and not self._counts(value):
            raise self._never(value)

    def _counts(self, value: float) -> bool:
        """Return whether they count from 1: rows, not instants; a remark says so of the first."""
        return self._begin == 1.0 and value - self._begin == self._run - 1 == self._moves

    def _never(self, value: float) -> Trouble:
        how = "rise" if self._sign > 0 else "fall"
        over = f"from {self._begin:.13g} to {value:.13g} {self._unit} over {self._run} frames"
        do = "declare values clock"
        if self._sign < 0:
            do = "declare the column of the frame times; a clock that runs down cannot be read"
        return Trouble(
            "looks-like-clock",
            f"the times only {how} {over}, as a clock does and frame times never do, and were "
            "declared as durations",
            line=self._line,
            do=do,
        )

    def _refuse_far(self, head: Sequence[float], line: int | None) -> None:
        """Refuse the first few where they rise nearly all the way and far."""
        steps = len(head) - 1
        if sum(after > value for value, after in pairwise(head)) <= _NEARLY * steps:
            return
        first, last = float(head[0]), float(head[-1])
        if first.is_integer() and list(head) == list(range(int(first), int(first) + steps + 1)):
            self._remarks.append(
                f"the times begin {first:g}, {first + 1:g}, {first + 2:g} and go on one by one: is "
                "this the column that counts the frames?"
            )
        elif last >= 2.0 * first:
            raise Trouble(
                "looks-like-clock",
                f"the times rise all the way from {first:g} to {last:g} {self._unit}, as a clock "
                "does, and were declared as durations",
                line=line,
                do="declare values clock",
            )
