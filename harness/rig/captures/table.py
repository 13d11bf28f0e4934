"""The head of a table -> its shape: delimiter, columns, and which of them matter.

Pure. The header is the first line unless another is declared, or none.
"""

from __future__ import annotations

from harness.rig.captures import columns
from harness.rig.captures.cells import PLAIN, Style
from harness.rig.captures.declared import Declared
from harness.rig.captures.names import may_mix
from harness.rig.captures.trouble import Trouble, listed, shown

DELIMITERS: tuple[bytes, ...] = (b",", b";", b"\t", b"|")
_LINES_SEARCHED = 60  # for a header that stands further down than declared

_QUOTED = rb'"(?:[^"]|"")*"'


def is_number(cell: bytes) -> bool:
    """Return whether a cell is a number, whatever its decimal mark and its quotes."""
    text = cell.strip(b' \t"').replace(b",", b".")
    if text.translate(None, b"0123456789.eE+-"):
        return False
    try:
        float(text)
    except ValueError:
        return False
    return True


class Shape:
    """How the rows of one table are taken apart. Columns are counted from 0.

    Args:
        delimiter: What separates two fields.
        names: The columns' names, as in the file; their numbers from 1 without a header.
        time: The column of frame times.
        header: The header's line as it stands in the file; empty without one.
        first_line: The line of the first row.
    """

    __slots__ = (
        "counters",
        "delimiter",
        "first_line",
        "header",
        "kinds_column",
        "names",
        "numeric",
        "style",
        "time",
        "trailing",
        "unit",
        "watched",
        "where",
    )

    def __init__(
        self, *, delimiter: bytes, names: list[str], time: int, header: bytes, first_line: int
    ) -> None:
        self.delimiter = delimiter
        self.names = names
        self.time = time
        self.header = header
        self.first_line = first_line
        self.unit: str | None = None  #: None until the cells themselves say it
        self.style: Style = PLAIN
        self.trailing = False  #: every row ends with one delimiter more than it has fields
        self.numeric: frozenset[int] = frozenset()  #: other columns that hold numbers
        self.counters: tuple[int, ...] = ()  #: columns that count the frames
        self.where: tuple[tuple[int, str], ...] = ()
        self.kinds_column: int | None = None
        self.watched: tuple[int, ...] = ()  #: columns that may mix programs or kinds

    @property
    def width(self) -> int:
        """Return how many fields a row has, a trailing empty one left out."""
        return len(self.names)

    @property
    def texts(self) -> tuple[int, ...]:
        """Return the columns whose texts are looked at."""
        needed = [column for column, _ in self.where]
        if self.kinds_column is not None:
            needed.append(self.kinds_column)
        return tuple(dict.fromkeys((*needed, *self.watched)))


def shape_of(body: bytes, declared: Declared, notes: list[str]) -> tuple[Shape, int]:
    """Return the shape of the table and where its first row begins in *body*.

    Raises:
        Trouble: header, delimiter or a column is not there, or cannot be told.
    """
    if declared.header == "none":
        return _without_header(body, declared), 0
    number = declared.header if isinstance(declared.header, int) else 1
    start = line_start(body, number)
    if start is None:
        raise Trouble(
            "header-missing",
            f"line {number} must be the header, and the file has only {body.count(10)} lines",
            do="declare header as the line where the table begins, counted from 1",
        )
    end = body.index(b"\n", start)
    header = body[start:end]
    if declared.header is None and _all_numbers(header, declared):
        if by_number(declared.column):
            return _without_header(body, declared), 0
        raise Trouble(
            "header-missing",
            f"the first line is {shown(header)}: a row of numbers, not a header",
            line=1,
            text=_text(header),
            do="declare header none, and the column by its number",
        )
    try:
        shape = _with_header(header, declared, line=number)
    except Trouble as trouble:
        if declared.header is None:
            _point_to_header(body, declared, trouble)
        raise
    if number > 1:
        notes.append(f"{number - 1} lines before the header passed over")
    name = shape.names[shape.time]
    wanted = declared.column
    if isinstance(wanted, str) and not by_number(wanted) and name.strip() != wanted.strip():
        notes.append(f"column {shown(name)} taken for {shown(wanted)}")
    return shape, end + 1


def _with_header(header: bytes, declared: Declared, *, line: int) -> Shape:
    delimiter = _delimiter(header, declared, line_number=line)
    names = _names(header, delimiter, line=line)
    if len(names) > 1 and not names[-1].strip():
        names.pop()  # the header ends with a delimiter; whether rows do, the first row says
    text = _text(header)
    time = columns.time_column(names, declared, line=line, text=text)
    shape = Shape(delimiter=delimiter, names=names, time=time, header=header, first_line=line + 1)
    named = None if by_number(declared.column) and names[time] != declared.column else names[time]
    shape.unit = columns.unit_of(named, declared)
    _others(shape, declared, line=line, text=text)
    return shape


def _without_header(body: bytes, declared: Declared) -> Shape:
    first = body[: body.find(b"\n")] if b"\n" in body else body
    delimiter = _delimiter(first, declared, line_number=1)
    fields = _names(first, delimiter, line=1)
    if len(fields) > 1 and not fields[-1].strip():
        fields.pop()
    names = [str(place) for place in range(1, len(fields) + 1)]
    if not by_number(declared.column):
        raise Trouble(
            "column-unclear",
            "without a header a column has no name",
            do=f"declare the column by its number, 1 to {len(names)}",
        )
    time = columns.time_column(names, declared, line=1, text=_text(first))
    shape = Shape(delimiter=delimiter, names=names, time=time, header=b"", first_line=1)
    shape.unit = columns.unit_of(None, declared)
    _others(shape, declared, line=1, text=_text(first))
    return shape


def _others(shape: Shape, declared: Declared, *, line: int, text: str) -> None:
    def find(wanted: str, what: str) -> int:
        return columns.find(shape.names, wanted, what=what, line=line, text=text)

    shape.where = tuple((find(name, "where"), value) for name, value in declared.where)
    if declared.kinds_column is not None:
        shape.kinds_column = find(declared.kinds_column, "kinds")
    if declared.counter is not None:
        shape.counters = (find(declared.counter, "counter"),)
    chosen = {shape.time, shape.kinds_column, *(column for column, _ in shape.where)}
    shape.watched = tuple(
        place for place, name in enumerate(shape.names) if place not in chosen and may_mix(name)
    )


def _point_to_header(body: bytes, declared: Declared, trouble: Trouble) -> None:
    """Raise the better trouble if a line further down is the header that was looked for."""
    if trouble.code not in ("column-missing", "column-unclear", "delimiter-unclear"):
        return
    if by_number(declared.column):
        return  # every line has columns: a number finds no header
    lines = body[: 1 << 16].split(b"\n")[:_LINES_SEARCHED]
    for number, line in enumerate(lines[1:], start=2):
        try:
            shape = _with_header(line, declared, line=number)
        except Trouble:
            continue
        raise Trouble(
            "header-missing",
            f"the first line is {shown(lines[0])}; the column {shown(shape.names[shape.time])} "
            f"stands in line {number}",
            line=number,
            text=_text(line),
            do=f"declare header {number} if the table begins there",
        )


def line_start(body: bytes, number: int) -> int | None:
    """Return where line *number* begins; None: there is no such complete line."""
    start = 0
    for _ in range(number - 1):
        start = body.find(b"\n", start) + 1
        if not start:
            return None
    return start if body.find(b"\n", start) >= 0 else None


def by_number(column: str | int | None) -> bool:
    """Return whether a column was declared by its number."""
    return isinstance(column, int) or (
        isinstance(column, str) and column.isascii() and column.isdigit()
    )


def _text(line: bytes) -> str:
    return line.decode("utf-8", "replace")


def _all_numbers(header: bytes, declared: Declared) -> bool:
    fields = [header]
    for delimiter in (declared.delimiter.encode(),) if declared.delimiter else DELIMITERS:
        fields = [part for field in fields for part in field.split(delimiter)]
    filled = [field for field in fields if field.strip()]
    return bool(filled) and all(map(is_number, filled))


def _delimiter(line: bytes, declared: Declared, *, line_number: int) -> bytes:
    if declared.delimiter is not None:
        return declared.delimiter.encode()
    bare = line
    if b'"' in line:
        import re

        bare = re.sub(_QUOTED, b"", line)
    found = [delimiter for delimiter in DELIMITERS if delimiter in bare]
    if len(found) > 1:
        raise Trouble(
            "delimiter-unclear",
            f"{listed([each.decode() for each in found])} stand in {shown(line)}: which of them "
            "separates the fields cannot be told",
            line=line_number,
            text=_text(line),
            do="declare the delimiter",
        )
    return found[0] if found else b","


def _names(header: bytes, delimiter: bytes, *, line: int) -> list[str]:
    text = _text(header)
    if b'"' not in header:
        return text.split(delimiter.decode())
    import csv

    try:
        rows = list(csv.reader([text], delimiter=delimiter.decode(), strict=True))
    except csv.Error as error:
        raise Trouble(
            "quotes",
            f"the header's quotes cannot be read: {error}",
            line=line,
            text=text,
            do="see what wrote the file",
        ) from error
    return rows[0] if rows else [""]
