"""One column that counts frames: what is asked of it, and how one in a text answers.

Pure.
"""

from __future__ import annotations

from itertools import compress

from harness.rig.captures.names import whole
from harness.rig.captures.trouble import Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Protocol

    Line = Callable[[int], int | None]

    class Count(Protocol):
        """What a column that counts frames says. None: a row says nothing."""

        def __len__(self) -> int:
            """Return how many rows there are."""

        def first(self, line: Line) -> int | None:
            """Return the first number; Trouble: it is no whole one."""

        def counts_up(self, start: int) -> bool:
            """Return whether the rows say start, start + 1, start + 2 and so on."""

        def values(self, line: Line) -> Sequence[int | None]:
            """Return the numbers; Trouble: one is no whole one."""

        def chosen(self, mask: Sequence[bool]) -> Count:
            """Return the rows that *mask* chooses."""


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

    def first(self, line: Line) -> int | None:
        """Return the first number.

        Raises:
            Trouble: it is no whole one.
        """
        return self._number(0, line)

    def values(self, line: Line) -> list[int]:
        """Return the numbers.

        Raises:
            Trouble: a cell is no whole number; *line* gives the line of a row.
        """
        return [self._number(row, line) for row in range(len(self._cells))]

    def _number(self, row: int, line: Line) -> int:
        number = whole(self._cells[row])
        if number is None:
            raise not_counting(self._cells[row], self._name, line=line(row))
        return number

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
