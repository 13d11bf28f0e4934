"""Lines of a table -> columns, with the width of every row checked.

Pure. There is no loop over rows here: the shape of all rows at once is what is left of the
text when everything but delimiters and line ends is deleted, and it must be one row's
shape, repeated. Only when it is not are the rows walked, to find the first that differs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import compress, islice
from operator import not_

from harness.rig.captures import cells
from harness.rig.captures.counter import Written
from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.counter import Count
    from harness.rig.captures.table import Shape


class Rows:
    """Columns of some rows: those that count.

    Args:
        times: The frame times as numbers, in the file's own unit; any sequence of floats.
        counters: What each column that counts frames says in all rows.
        kinds: The kind of each frame that counts, where kinds were declared.
        watched: Column -> the texts of rows that count, where they may mix programs or kinds.
        mask: For each row whether it counts; None if all do.
        passed_over: Texts of the rows that do not count, in the first column of ``where``.
        first_line: The line of the first row, None where rows are not lines.
    """

    __slots__ = ("counters", "first_line", "kinds", "mask", "passed_over", "times", "watched")

    def __init__(
        self,
        *,
        times: Sequence[float],
        counters: Sequence[Count] = (),
        kinds: Sequence[bytes] | None = None,
        watched: Mapping[int, Sequence[bytes]] | None = None,
        mask: Sequence[bool] | None = None,
        passed_over: Sequence[bytes] = (),
        first_line: int | None = None,
    ) -> None:
        self.times = times
        self.counters = counters
        self.kinds = kinds
        self.watched = watched or {}
        self.mask = mask
        self.passed_over = passed_over
        self.first_line = first_line

    def line_of_row(self, row: int) -> int | None:
        """Return the line of a row, counted or not."""
        return None if self.first_line is None else self.first_line + row

    def line(self, place: int) -> int | None:
        """Return the line of a row that counts, by its place among those."""
        if self.mask is None or self.first_line is None:
            return self.line_of_row(place)
        counted = compress(range(len(self.mask)), self.mask)
        return self.first_line + next(islice(counted, place, None))


class Absent(Exception):
    """Cells of the time column hold NaN, infinity, nothing, or N/A.

    Args:
        counts: Kind -> how many.
        line: The line of the first.
        text: The first itself.
    """

    def __init__(self, counts: dict[str, int], *, line: int | None, text: bytes) -> None:
        super().__init__(f"{sum(counts.values())} cells without a number")
        self.counts = counts
        self.line = line
        self.text = text


def split(body: bytes, shape: Shape, *, line: int) -> Rows:
    """Take whole lines apart.

    Raises:
        Trouble: a row has another width, a cell is no number, the header comes again.
        Absent: cells hold NaN, infinity, nothing or N/A, and nothing else is wrong.
    """
    columns, consecutive = take_apart(body, shape, line=line)
    first_line = line if consecutive else None
    mask, passed_over = counting_rows(columns, shape)

    def kept(place: int) -> Sequence[bytes]:
        return columns[place] if mask is None else list(compress(columns[place], mask))

    rows = Rows(
        times=(),
        kinds=None if shape.kinds_column is None else kept(shape.kinds_column),
        watched={place: kept(place) for place in shape.watched},
        mask=mask,
        passed_over=passed_over,
        first_line=first_line,
    )
    time = kept(shape.time)
    try:
        rows.times = cells.numbers(time, shape.style)
    except cells.BadCells as failure:
        raise _judged(failure, shape, rows.line) from None
    # Last: a repeated header is found in the times.
    rows.counters = [Written(columns[place], shape.names[place]) for place in shape.counters]
    return rows


def take_apart(body: bytes, shape: Shape, *, line: int) -> tuple[dict[int, list[bytes]], bool]:
    """Return the columns that are needed, and whether every row is one line.

    Raises:
        Trouble: a row has another width.
    """
    if b'"' in body:
        return _quoted(body, shape, line=line)
    return _unquoted(body, shape, line=line), True


def counting_rows(
    columns: Mapping[int, list[bytes]], shape: Shape
) -> tuple[list[bool] | None, Sequence[bytes]]:
    """Return which rows count, and the texts of those that do not."""
    if not shape.where:
        return None, ()
    hits = [
        [cell.strip() == wanted for cell in columns[column]]
        for column, wanted in ((column, value.strip().encode()) for column, value in shape.where)
    ]
    mask = list(map(all, zip(*hits, strict=True)))
    return mask, list(compress(columns[shape.where[0][0]], map(not_, mask)))


def _unquoted(body: bytes, shape: Shape, *, line: int) -> dict[int, list[bytes]]:
    delimiter, width = shape.delimiter, shape.width + shape.trailing
    count = body.count(b"\n")
    others = bytes(range(256)).translate(None, delimiter + b"\n")
    if body.translate(None, others) != (delimiter * (width - 1) + b"\n") * count:
        raise _odd_row(body, shape, line=line)
    flat = body.replace(b"\n", delimiter).split(delimiter)
    flat.pop()
    if shape.trailing and any(flat[width - 1 :: width]):
        raise _odd_row(body, shape, line=line)
    return {place: flat[place::width] for place in needed(shape)}


def needed(shape: Shape) -> tuple[int, ...]:
    """Return the columns that are taken out."""
    return tuple(dict.fromkeys((shape.time, *shape.texts, *shape.counters)))


def _quoted(body: bytes, shape: Shape, *, line: int) -> tuple[dict[int, list[bytes]], bool]:
    import csv
    import io
    from operator import itemgetter

    reader = csv.reader(
        io.StringIO(body.decode("utf-8", "surrogateescape"), newline=""),
        delimiter=shape.delimiter.decode(),
        strict=True,
    )
    width = shape.width + shape.trailing
    try:
        rows = list(reader)
    except csv.Error as error:
        raise Trouble(
            "quotes",
            f"the quotes in line {line + reader.line_num - 1} cannot be read: {error}",
            line=line + reader.line_num - 1,
            do="see what wrote the file",
        ) from error
    consecutive = reader.line_num == len(rows)
    odd = next((row for row in rows if len(row) != width or (shape.trailing and row[-1])), None)
    if odd is not None:
        row = rows.index(odd)
        raise _width_trouble(
            len(odd), shape, line=line + row if consecutive else None, text=",".join(odd)
        )
    return {
        place: [cell.encode("utf-8", "surrogateescape") for cell in map(itemgetter(place), rows)]
        for place in needed(shape)
    }, consecutive


def _odd_row(body: bytes, shape: Shape, *, line: int) -> Trouble:
    """Return the trouble of the first row whose shape is not the table's."""
    width = shape.width + shape.trailing
    lines = body.split(b"\n")[:-1]
    for place, text in enumerate(lines):
        fields = text.split(shape.delimiter)
        if len(fields) == width and not (shape.trailing and fields[-1]):
            continue
        if not text.strip():
            return Trouble(
                "blank-line",
                f"line {line + place} is empty, and rows of the table come after it",
                line=line + place,
                do=AGAIN,
            )
        if shape.header and text.strip() == shape.header.strip():
            return _header_again(line + place)
        return _width_trouble(
            len(fields),
            shape,
            line=line + place,
            text=text.decode("utf-8", "replace"),
            left=len(lines) - place,
        )
    raise AssertionError("a row of another shape was there a moment ago")


def _width_trouble(
    found: int, shape: Shape, *, line: int | None, text: str, left: int = 0
) -> Trouble:
    expected = shape.width + shape.trailing
    fields = "1 field" if found == 1 else f"{found} fields"
    owner = "the header" if shape.header and not shape.trailing else "the rows before"
    has = "has" if owner == "the header" else "have"
    do = "see what wrote the row; every row must have as many fields as the header"
    if found > expected:
        do = "declare the delimiter, or the decimal mark, if a comma in a number splits the row"
    if 0 < left <= _FOOTER_LINES and found != expected:
        last = "the last line is" if left == 1 else f"the last {left} lines are"
        do += f"; if {last} a summary, declare footer {left}"
    return Trouble(
        "row-width",
        f"the row has {fields}, {owner} {has} {expected}: {shown(text, most=60)}",
        line=line,
        text=text[:200],
        do=do,
    )


_FOOTER_LINES = 10


def _header_again(line: int | None) -> Trouble:
    return Trouble(
        "header-again",
        "the header comes again" + (f" in line {line}" if line else ""),
        line=line,
        do="have the title write one file a pass: two recordings are glued together here",
    )


def _judged(
    failure: cells.BadCells, shape: Shape, line: Callable[[int], int | None]
) -> Trouble | Absent:
    """Return what the bad cells make of the capture; a refusal goes before anything else."""
    name = shape.names[shape.time]
    counts: dict[str, int] = {}
    first_again: int | None = None
    worst: Trouble | None = None
    for place, cell in failure.bad:
        kind = cells.kind_of(cell)
        if kind is not None:
            counts[kind] = counts.get(kind, 0) + 1
        elif shape.header and cell.strip().decode("utf-8", "replace") == name.strip():
            first_again = place if first_again is None else first_again
        elif worst is None or (worst.void and worst.code == "unit-changes"):
            trouble = cells.trouble_of(cell, shape.style, column=name, line=line(place))
            if worst is None or not trouble.void:
                worst = trouble
    if worst is not None and not worst.void:
        return worst
    if first_again is not None:
        return _header_again(line(first_again))
    if worst is not None:
        return worst
    place, cell = failure.bad[0]
    return Absent(counts, line=line(place), text=cell)
