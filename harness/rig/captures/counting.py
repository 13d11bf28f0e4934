"""The columns that count frames: every number once, one by one.

Pure. A gap means that frames were lost, a number that comes twice that rows were doubled,
and a count that starts again that two recordings are in one file.
"""

from __future__ import annotations

from itertools import compress

from harness.rig.captures.names import whole
from harness.rig.captures.trouble import AGAIN, Trouble, shown

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


class Counting:
    """What a counter said, piece by piece."""

    __slots__ = ("_first", "_gaps", "_last", "_lost", "_name", "_troubles")

    def __init__(self, name: str) -> None:
        self._name = name
        self._first: int | None = None
        self._last = 0
        self._lost = 0
        self._gaps = 0
        self._troubles: dict[str, Trouble] = {}

    def add(self, counter: Count, line: Line) -> None:
        """Take the counter of the next rows; *line* gives the line of a row.

        Raises:
            Trouble: a value is no whole number.
        """
        if not len(counter):
            return
        first = counter.first(line) if self._first is None else self._last + 1
        if first is not None and counter.counts_up(first):
            self._first = first if self._first is None else self._first
            self._last = first + len(counter) - 1
            return
        self._walk(counter.values(line), line)

    def _walk(self, values: Sequence[int | None], line: Line) -> None:
        """Find what is wrong. A walk over rows, in a capture that is not kept."""
        for row, value in enumerate(values):
            if self._first is None:
                if value is not None:  # a recorder may begin to count after its first frames
                    self._first = self._last = value
                continue
            if value is None:
                raise not_counting("", self._name, line=line(row))
            if value > self._last + 1:
                self._gaps += 1
                self._lost += value - self._last - 1
                self._note("frames-lost", f"jumps from {self._last} to {value}", line(row))
            elif value == self._last:
                self._note("rows-repeated", f"says {value} again", line(row))
            elif value < self._last:
                again = value == self._first
                how = "starts again at" if again else f"goes back from {self._last} to"
                self._note("glued-runs" if again else "rows-repeated", f"{how} {value}", line(row))
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
        return tuple(map(self._with_total, self._troubles.values()))

    def _with_total(self, found: Trouble) -> Trouble:
        if found.code != "frames-lost":
            return found
        frames = "1 frame" if self._lost == 1 else f"{self._lost} frames"
        places = "1 place" if self._gaps == 1 else f"{self._gaps} places"
        return Trouble(
            found.code,
            f"{found.what}; {frames} lost in {places}",
            line=found.line,
            do=found.do,
        )


class Counters:
    """All columns that count frames. Each is asked about all rows, and about those that count.

    A counter may run over every row of the file, over those of one program, or over frames
    of the kinds that are counted: it tells of no loss if it counts up in any of these ways.
    """

    __slots__ = ("_columns",)

    def __init__(self, names: Sequence[str]) -> None:
        self._columns = [tuple(Counting(name) for _ in range(3)) for name in names]

    def add(
        self,
        counters: Sequence[Count],
        *,
        mask: Sequence[bool] | None,
        of_kind: Sequence[bool] | None,
        line_of_row: Line,
        line: Line,
    ) -> None:
        """Take what the counters say of the next rows, in the order of their names.

        Args:
            counters: What each says, in all rows.
            mask: For each row whether it counts; None if all do.
            of_kind: For each of those that do, whether its kind is counted; None likewise.
            line_of_row: Gives the line of a row.
            line: Gives the line of a row that counts, by its place among those.

        Raises:
            Trouble: a value is no whole number.
        """
        for column, counter in zip(self._columns, counters, strict=True):
            every, of_program, of_frame = column
            every.add(counter, line_of_row)
            if mask is not None:
                counter = counter.chosen(mask)
                of_program.add(counter, line)
            if of_kind is not None:
                of_frame.add(counter.chosen(of_kind), _no_line)

    def voids(self, *, in_part: bool, kinds: bool) -> tuple[Trouble, ...]:
        """Return what the counters found, each kind of trouble once.

        *in_part* says whether rows were passed over, *kinds* whether kinds were declared.
        """
        found: dict[str, Trouble] = {}
        for every, of_program, of_frame in self._columns:
            troubles = every.result()
            if in_part and troubles:
                troubles = of_program.result()
            if kinds and troubles and not of_frame.result():
                troubles = ()
            for trouble in troubles:
                found.setdefault(trouble.code, trouble)
        return tuple(found.values())

    def told(self, *, in_part: bool, kinds: bool) -> bool:
        """Return whether a counter has told that no frame is lost or doubled."""
        return bool(self._columns) and not self.voids(in_part=in_part, kinds=kinds)


def _no_line(place: int) -> int | None:
    del place
    return None


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
