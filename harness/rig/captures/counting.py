"""The column that counts frames: every number once, one by one.

Pure. A gap means that frames were lost, a number that comes twice that rows were doubled,
and a count that starts again that two recordings are in one file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from harness.rig.captures.rows import not_counting
from harness.rig.captures.trouble import AGAIN, Trouble


class Counting:
    """What a counter said, piece by piece.

    Args:
        name: The column's name.
        counts_up: Whether values are the whole numbers from a start on, one by one.
    """

    __slots__ = ("_counts_up", "_first", "_last", "_name", "gaps", "lost", "troubles")

    def __init__(self, name: str, counts_up: Callable[[Sequence[float], float], bool]) -> None:
        self._name = name
        self._counts_up = counts_up
        self._first: float | None = None
        self._last = 0.0
        self.lost = 0
        self.gaps = 0
        self.troubles: dict[str, Trouble] = {}

    def add(self, values: Sequence[float], line: Callable[[int], int | None]) -> None:
        """Take the counter of the next rows; *line* gives the line of a row.

        Raises:
            Trouble: a value is no whole number.
        """
        if not len(values):
            return
        if self._first is None:
            self._first = float(values[0])
            self._last = self._first - 1
        if self._last.is_integer() and self._counts_up(values, self._last + 1):
            self._last += len(values)
            return
        self._walk(values, line)

    def _walk(self, values: Sequence[float], line: Callable[[int], int | None]) -> None:
        """Find what is wrong. A walk over rows, in a capture that is not kept."""
        for row, value in enumerate(map(float, values)):
            if not value.is_integer():
                raise not_counting(f"{value:g}", self._name, line=line(row))
            if value > self._last + 1:
                self.gaps += 1
                self.lost += int(value - self._last - 1)
                self._note("frames-lost", f"jumps from {self._last:.0f} to {value:.0f}", line(row))
            elif value <= self._last:
                again = value == self._first
                how = "starts again at" if again else f"goes back from {self._last:.0f} to"
                self._note(
                    "glued-runs" if again else "rows-repeated", f"{how} {value:.0f}", line(row)
                )
            self._last = value

    def _note(self, code: str, how: str, line: int | None) -> None:
        if code not in self.troubles:
            self.troubles[code] = Trouble(
                code,
                f"the counter {self._name!r} {how}" + (f" in line {line}" if line else ""),
                line=line,
                do=AGAIN
                if code != "glued-runs"
                else "have the title write one file a pass: two recordings are glued together",
            )

    def result(self) -> tuple[Trouble, ...]:
        """Return every trouble that was found, each kind once."""
        lost = self.troubles.get("frames-lost")
        if lost is not None:
            places = "1 place" if self.gaps == 1 else f"{self.gaps} places"
            lost.what += f"; {self.lost} frames lost in {places}"
        return tuple(self.troubles.values())
