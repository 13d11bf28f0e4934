"""The columns that count frames: every number once, one by one.

Pure. A gap means that frames were lost, a number that comes twice that rows were doubled,
and a count that starts again that two recordings are in one file. Other numbers rise by one
too, as a frame's number in its lap: where the name leaves that open, the rows decide.
"""

from __future__ import annotations

from harness.rig.captures.counter import not_counting
from harness.rig.captures.names import counts_frames
from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from harness.rig.captures.counter import Count, Line

_ROUNDS = 3  # that a number makes at the least, if it goes round


class Counting:
    """What a counter said, piece by piece.

    Args:
        name: The column's name.
        sure: Whether it counts frames for sure, by its name or a declaration.
    """

    __slots__ = (
        *("_first", "_gaps", "_last", "_longest", "_lost", "_name", "_opening", "_repeats"),
        *("_rows", "_shortest", "_stretch", "_sure", "_troubles", "restarts"),
    )

    def __init__(self, name: str, *, sure: bool) -> None:
        self._name = name
        self._sure = sure
        self.restarts = 0
        self._rows = 0
        self._stretch = 0  # the row at which the count began last
        self._opening = 0  # rows before it began again for the first time
        self._longest = 0  # rows between two beginnings
        self._shortest = 0
        self._first: int | None = None
        self._last = 0
        self._lost = 0
        self._gaps = 0
        self._repeats = 0
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
        else:
            self._walk(counter.values(line), line)
        self._rows += len(counter)

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
                self._repeats += 1
                self._note("rows-repeated", f"says {value} again", line(row))
            elif value < self._last:
                if value <= max(self._first, 1):
                    self._begin_again(self._rows + row)
                    if not self._sure:
                        self._last = value
                        continue
                else:
                    self._repeats += 1
                again = value == self._first
                how = "starts again at" if again else f"goes back from {self._last} to"
                self._note("glued-runs" if again else "rows-repeated", f"{how} {value}", line(row))
            self._last = value

    def _begin_again(self, row: int) -> None:
        self.restarts += 1
        rows = row - self._stretch
        self._stretch = row
        if self.restarts == 1:
            self._opening = rows
            return
        self._longest = max(self._longest, rows)
        self._shortest = min(self._shortest or rows, rows)

    @property
    def counts(self) -> bool:
        """Return whether it counted up in every row."""
        return not self.restarts and not self._troubles

    @property
    def goes_round(self) -> bool:
        """Return whether it only counts up and begins again, each time after as many rows.

        Recordings that were glued together are not as long as each other to the row.
        """
        if self.restarts < _ROUNDS or self._gaps or self._repeats:
            return False
        ends = max(self._opening, self._rows - self._stretch)
        return self._longest - self._shortest <= 1 and ends <= self._longest + 1

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

    Args:
        names: The columns.
        declared: Whether they were declared, and so count whatever their rows say.
    """

    __slots__ = ("_columns", "_declared", "_names", "_sure")

    def __init__(self, names: Sequence[str], *, declared: bool = False) -> None:
        self._declared = declared
        self._names = tuple(names)
        self._sure = [declared or counts_frames(name) for name in names]
        self._columns = [
            tuple(Counting(name, sure=sure) for _ in range(3))
            for name, sure in zip(names, self._sure, strict=True)
        ]

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
        for troubles, _ in self._answers(in_part=in_part, kinds=kinds):
            for trouble in troubles:
                found.setdefault(trouble.code, trouble)
        several = len(self._columns) > 1
        return tuple(_with_way_out(each) if several else each for each in found.values())

    def told(self, *, in_part: bool, kinds: bool) -> bool:
        """Return whether a counter has told that no frame is lost or doubled."""
        answers = self._answers(in_part=in_part, kinds=kinds)
        return any(counts for _, counts in answers) and not any(found for found, _ in answers)

    def remarks(self, *, in_part: bool, kinds: bool) -> tuple[str, ...]:
        """Return which columns were not taken for a count of the frames, and why."""
        answers = self._answers(in_part=in_part, kinds=kinds)
        return tuple(
            f"column {shown(name)} does not count up in every row, and was not taken for a "
            "count of the frames"
            for name, (troubles, counts) in zip(self._names, answers, strict=True)
            if not troubles and not counts
        )

    def _answers(self, *, in_part: bool, kinds: bool) -> list[tuple[tuple[Trouble, ...], bool]]:
        """Return for each column what is wrong by it, and whether it counts all the way.

        Neither: it may count something else, as its name says more than frames do and another
        column counts all the way, or as it goes round.
        """
        heard = [self._heard(column, in_part=in_part, kinds=kinds) for column in self._columns]
        settled = any(counts for _, counts in heard)
        return [
            (() if settled and not sure else troubles, counts)
            for sure, (troubles, counts) in zip(self._sure, heard, strict=True)
        ]

    def _heard(
        self, column: tuple[Counting, ...], *, in_part: bool, kinds: bool
    ) -> tuple[tuple[Trouble, ...], bool]:
        every, of_program, of_frame = column
        asked = [every, *([of_program] if in_part else []), *([of_frame] if kinds else [])]
        if any(counting.counts for counting in asked):
            return (), True
        if not self._declared and any(counting.goes_round for counting in asked):
            return (), False
        return (of_program if in_part else every).result(), False


def _with_way_out(found: Trouble) -> Trouble:
    do = f"{found.do}; or declare the column that counts the frames as counter"
    return Trouble(found.code, found.what, line=found.line, do=do)


def _no_line(place: int) -> int | None:
    del place
    return None
