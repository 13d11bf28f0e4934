"""The column that counts frames: every number once, one by one.

Pure. A gap means that frames were lost, a number that comes twice that rows were doubled,
and a count that starts again that two recordings are in one file.
"""

from __future__ import annotations

from itertools import compress

from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Protocol

    class Count(Protocol):
        """What a column that counts frames says."""

        def __len__(self) -> int:
            """Return how many rows there are."""

        def first(self, line: Callable[[int], int | None]) -> float:
            """Return the first number; Trouble: it is none."""

        def counts_up(self, start: int) -> bool:
            """Return whether the rows say start, start + 1, start + 2 and so on."""

        def values(self, line: Callable[[int], int | None]) -> list[float]:
            """Return the numbers; Trouble: one is none."""

        def chosen(self, mask: Sequence[bool]) -> Count:
            """Return the rows that *mask* chooses."""


class Counting:
    """What a counter said, piece by piece."""

    __slots__ = ("_first", "_gaps", "_last", "_lost", "_name", "_troubles")

    def __init__(self, name: str) -> None:
        self._name = name
        self._first: float | None = None
        self._last = 0.0
        self._lost = 0
        self._gaps = 0
        self._troubles: dict[str, Trouble] = {}

    def add(self, counter: Count, line: Callable[[int], int | None]) -> None:
        """Take the counter of the next rows; *line* gives the line of a row.

        Raises:
            Trouble: a value is no whole number.
        """
        if not len(counter):
            return
        if self._first is None:
            first = counter.first(line)
            if not first.is_integer():
                raise not_counting(f"{first:g}", self._name, line=line(0))
            self._first, self._last = first, first - 1.0
        if counter.counts_up(int(self._last) + 1):
            self._last += len(counter)
            return
        self._walk(counter.values(line), line)

    def _walk(self, values: list[float], line: Callable[[int], int | None]) -> None:
        """Find what is wrong. A walk over rows, in a capture that is not kept."""
        for row, value in enumerate(values):
            if not value.is_integer():
                raise not_counting(f"{value:g}", self._name, line=line(row))
            if value > self._last + 1:
                self._gaps += 1
                self._lost += int(value - self._last - 1)
                self._note("frames-lost", f"jumps from {self._last:.0f} to {value:.0f}", line(row))
            elif value <= self._last:
                again = value == self._first
                how = "starts again at" if again else f"goes back from {self._last:.0f} to"
                self._note(
                    "glued-runs" if again else "rows-repeated", f"{how} {value:.0f}", line(row)
                )
            self._last = value

    def _note(self, code: str, how: str, line: int | None) -> None:
        if code not in self._troubles:
            self._troubles[code] = Trouble(
                code,
                f"the counter {self._name!r} {how}" + (f" in line {line}" if line else ""),
                line=line,
                do=AGAIN
                if code != "glued-runs"
                else "have the title write one file a pass: two recordings are glued together",
            )

    def result(self) -> tuple[Trouble, ...]:
        """Return every trouble that was found, each kind once."""
        lost = self._troubles.get("frames-lost")
        if lost is not None:
            places = "1 place" if self._gaps == 1 else f"{self._gaps} places"
            lost.what += f"; {self._lost} frames lost in {places}"
        return tuple(self._troubles.values())


class Written:
    """A column that counts frames, as it is written: its cells are held against the text.

    Comparing texts costs a tenth of reading the numbers, and for a counter that counts they
    say the same.
    """

    __slots__ = ("_cells", "_name")

    def __init__(self, cells: Sequence[bytes], name: str) -> None:
        self._cells = cells
        self._name = name

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self._cells)

    def counts_up(self, start: int) -> bool:
        """Return whether the cells are start, start + 1, start + 2 and so on."""
        return b"\n".join(self._cells) + b"\n" == _counted_text(start, start + len(self._cells))

    def first(self, line: Callable[[int], int | None]) -> float:
        """Return the first number.

        Raises:
            Trouble: it is none.
        """
        return self._number(0, line)

    def values(self, line: Callable[[int], int | None]) -> list[float]:
        """Return the numbers.

        Raises:
            Trouble: a cell is no number; *line* gives the line of a row.
        """
        return [self._number(row, line) for row in range(len(self._cells))]

    def _number(self, row: int, line: Callable[[int], int | None]) -> float:
        try:
            return float(self._cells[row])
        except ValueError:
            raise not_counting(self._cells[row], self._name, line=line(row)) from None

    def chosen(self, mask: Sequence[bool]) -> Written:
        """Return the rows that *mask* chooses."""
        return Written(list(compress(self._cells, mask)), self._name)


def _counted_text(start: int, end: int) -> bytes:
    """Return the whole numbers from *start* up to *end*, each with a line feed."""
    first = min(end, max(1000, start + -start % 1000))
    last = max(first, end - end % 1000)
    thousand = b"".join(map(b"#%03d\n".__mod__, range(1000))) if last > first else b""
    return b"".join(
        (
            b"".join(map(b"%d\n".__mod__, range(start, first))),
            *(thousand.replace(b"#", b"%d" % each) for each in range(first // 1000, last // 1000)),
            b"".join(map(b"%d\n".__mod__, range(last, end))),
        )
    )


def not_counting(cell: bytes | str, name: str, *, line: int | None) -> Trouble:
    """Return the trouble of a counter that does not count."""
    return Trouble(
        "not-a-number",
        f"{shown(cell)} in {shown(name)} is not a whole number, and that column counts the frames",
        line=line,
        do="declare the column that counts the frames as counter; see what wrote this row",
    )
