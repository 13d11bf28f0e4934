"""Frame logs of CSV-like shape: text lines, one row a frame (RFC 4180 and its relatives).

Pure, but for large captures (see ``arrow``).
"""

from __future__ import annotations

from collections.abc import Iterator

from harness.rig.captures import cells, columns
from harness.rig.captures.ends import end_of_table, numeric_columns
from harness.rig.captures.names import SAMPLE_ROWS, counts, may_count, whole
from harness.rig.captures.rows import Absent, Rows, counting_rows, split, take_apart
from harness.rig.captures.table import Shape, shape_of
from harness.rig.captures.text import Piece, pieces
from harness.rig.captures.trouble import Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.gather import Gather

_STYLE_LINES = 20_000  # that tell how numbers are written, where the first few are not plain


def read(blocks: Iterator[bytes], gather: Gather) -> None:
    """Read a frame log into *gather*.

    Raises:
        Trouble: the file cannot be read as it was declared.
    """
    text = pieces(blocks, gather.declared.encoding, notes=gather.notes, voids=gather.voids)
    first = next(text)
    shape, start = _shape(first, gather)
    bodies = _bodies(first, start, text, shape, gather)
    for rows in (gather.spread or _one_by_one)(bodies, shape):
        if isinstance(rows, Absent):
            gather.absent(rows)
        else:
            gather.add(rows)


def _one_by_one(bodies: Iterator[tuple[bytes, int]], shape: Shape) -> Iterator[Rows | Absent]:
    for body, line in bodies:
        try:
            yield split(body, shape, line=line)
        except Absent as absent:
            yield absent


def _shape(first: Piece, gather: Gather) -> tuple[Shape, int]:
    """Return the shape of the table, settled as far as its first rows settle it."""
    declared = gather.declared
    head = first.body or first.rest + b"\n"
    try:
        shape, start = shape_of(head, declared, gather.notes)
    except Trouble:
        _refuse_json(head)
        raise
    end = first.body.find(b"\n", start) + 1
    if end:
        row = first.body[start : end - 1].split(shape.delimiter)
        if len(row) == shape.width + 1 and not row[-1].strip():
            shape.trailing = True
            gather.notes.append("an empty field at the end of every row passed over")
        shape.numeric = numeric_columns(row, shape.time, shape.width)
    sample = _first_lines(first.body, start, SAMPLE_ROWS)
    column: list[bytes] = []
    if sample and (shape.numeric or sample.strip()):
        if declared.counter is None:
            shape.counters = _counters(sample, shape)
        column = _time_cells(sample, shape)
    if b"".join(column).translate(None, b"0123456789.") or declared.decimal or declared.thousands:
        column = _time_cells(_first_lines(first.body, start, _STYLE_LINES), shape, sample=column)
        shape.style, said = cells.style_of(column, declared)
        _settle_unit(shape, said)
        if shape.style.decimal == b"," and declared.decimal is None:
            gather.notes.append("the comma taken for the decimal mark: it cannot be another")
        if said:
            gather.notes.append(f"the unit {shown(shape.style.suffix.strip())} after every number")
    if declared.column is None:
        gather.notes.append(f"frame times taken from column {shown(shape.names[shape.time])}")
    if shape.unit is None:
        raise Trouble(
            "unit-missing",
            f"the unit of column {shown(shape.names[shape.time])} was not declared, and its name "
            "does not say it",
            do="declare unit s, ms, us or ns",
        )
    gather.begin(
        unit=shape.unit,
        column=shape.names[shape.time],
        counters=[shape.names[place] for place in shape.counters],
        watched={place: shape.names[place] for place in shape.watched},
    )
    return shape, start


def _refuse_json(head: bytes) -> None:
    """Refuse JSON that is no lines of objects, by what it is: it has no header to be found."""
    start = head[:_JSON_BYTES].lstrip()
    if not start.startswith((b"[", b"{")):
        return
    if b"{" in start or not start.translate(None, b"[], \n0123456789.eE+-"):
        raise Trouble(
            "row-width",
            f"the file is JSON, and not one object a line in UTF-8: it begins {shown(start[:40])}",
            line=1,
            do="have the recorder write JSON as one object a line, in UTF-8",
        )


_JSON_BYTES = 4096


def _settle_unit(shape: Shape, said: str | None) -> None:
    if said is None:
        return
    if shape.unit is not None and shape.unit != said:
        raise columns.conflict(shape.unit, said, f"every number has {said} after it")
    shape.unit = said


def _first_lines(body: bytes, start: int, lines: int) -> bytes:
    end = start
    for _ in range(lines):
        found = body.find(b"\n", end) + 1
        # An empty line ends the table, or is a trouble of its own: later.
        if not found or found == end + 1:
            break
        end = found
    return body[start:end]


def _time_cells(lines: bytes, shape: Shape, sample: list[bytes] | None = None) -> list[bytes]:
    """Return the time column of some lines; *sample* where they are not all rows."""
    try:
        return take_apart(lines, shape, line=1)[0][shape.time]
    except Trouble:
        return sample or []  # the lines themselves are judged when they are read


def _counters(sample: bytes, shape: Shape) -> tuple[int, ...]:
    """Return the columns that count frames, by their names and their first values."""
    shape.counters = tuple(
        place for place, name in enumerate(shape.names) if place != shape.time and may_count(name)
    )
    if not shape.counters:
        return ()
    lines = sample.split(b"\n")[:-1]
    while lines:  # the last may be half of a row, where a quoted field has line ends
        try:
            taken, _ = take_apart(b"\n".join(lines) + b"\n", shape, line=1)
        except Trouble:
            lines.pop()
            continue
        mask = counting_rows(taken, shape)[0]
        return tuple(
            place
            for place in shape.counters
            if counts(shape.names[place], list(map(whole, taken[place])), mask)
        )
    return ()


def _bodies(
    piece: Piece, start: int, others: Iterator[Piece], shape: Shape, gather: Gather
) -> Iterator[tuple[bytes, int]]:
    """Yield the rows of the table in pieces, each with its first line."""
    line = shape.first_line
    body = piece.body[start:]
    while True:
        if piece.final:
            body = end_of_table(
                body,
                piece.rest,
                shape,
                gather.declared,
                line=line,
                notes=gather.notes,
                voids=gather.voids,
            )
        if body:
            yield body, line
        if piece.final:
            return
        line += gather.arithmetic.count_lines(body)
        piece = next(others)
        body = piece.body
