"""Where a table ends: its last line, and what stands after it.

Pure. A table ends with its last complete row. What follows an empty line and cannot be rows
of the table is passed over, and said; what may be rows is never passed over.
"""

from __future__ import annotations

from harness.rig.captures.table import Shape, is_number
from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.declared import Declared

_LOOKED_AT = 10  # lines at the end that may be a summary
NEWLINE = b"\n"


def end_of_table(
    body: bytes,
    rest: bytes,
    shape: Shape,
    declared: Declared,
    *,
    line: int,
    notes: list[str],
    voids: list[Trouble],
) -> bytes:
    """Return the rows of *body*, the last piece, whose first line is *line*.

    *rest* is what stands after the last line end.

    Raises:
        Trouble: the last lines may be a summary or rows.
    """
    if declared.footer:
        return _without_footer(body, rest, declared.footer, line=line, notes=notes)
    table, after = _parted(body)
    if after:
        first = line + table.count(b"\n")
        _refuse_rows_after(after, shape, first_blank=first)
        last = first + after.count(b"\n") - (0 if rest else 1)
        notes.append(f"lines {first} to {last} after the table passed over: {_gist(after)}")
    elif rest:
        number = line + body.count(b"\n")
        if rest.strip():
            voids.append(
                Trouble(
                    "truncated",
                    f"the last line has no line end, so what it says is unproven: {shown(rest)} "
                    "is dropped",
                    line=number,
                    text=rest[:200].decode("utf-8", "replace"),
                    do=AGAIN,
                )
            )
    trimmed = table.rstrip(b"\n")
    blank = len(table) - len(trimmed) - (1 if trimmed else 0)
    if blank > 0 and not after:
        notes.append(f"{blank} empty lines at the end passed over")
    table = table[: len(table) - blank] if blank > 0 else table
    if declared.footer is None:
        _refuse_summary(table, shape, line=line)
    return table


def _without_footer(body: bytes, rest: bytes, footer: int, *, line: int, notes: list[str]) -> bytes:
    lines = body.split(b"\n")[:-1] + ([rest] if rest else [])
    if footer > len(lines):
        raise Trouble(
            "footer-unclear",
            f"{footer} lines are declared as footer, and the table has {len(lines)}",
            do="declare footer as the lines to drop at the end",
        )
    kept = lines[: len(lines) - footer]
    notes.append(
        f"{footer} footer lines dropped, from line {line + len(kept)}: "
        f"{_gist(NEWLINE.join(lines[len(kept) :]))}"
    )
    while kept and not kept[-1].strip():
        kept.pop()
    return b"".join(each + b"\n" for each in kept)


def _parted(body: bytes) -> tuple[bytes, bytes]:
    """Return the table, and what stands after the first empty line if anything does."""
    at = 0 if body.startswith(b"\n") else body.find(b"\n\n") + 1
    if not at and not body.startswith(b"\n"):
        return body, b""
    return (body[:at], body[at:]) if body[at:].strip() else (body, b"")


def _refuse_rows_after(after: bytes, shape: Shape, *, first_blank: int) -> None:
    """Refuse lines after an empty one that may be rows of the table."""
    for place, text in enumerate(after.split(b"\n")):
        fields = text.split(shape.delimiter)
        if len(fields) != shape.width + shape.trailing:
            continue
        if is_number(fields[shape.time]) and _numeric(fields, shape) == shape.numeric:
            raise Trouble(
                "blank-line",
                f"line {first_blank} is empty, and rows of the table come after it",
                line=first_blank + place,
                text=text.decode("utf-8", "replace"),
                do=AGAIN,
            )


def _refuse_summary(table: bytes, shape: Shape, *, line: int) -> None:
    """Refuse a table whose last rows are of another kind than its first, but look like rows."""
    if not shape.numeric:
        return
    tail = table[-4096:].split(b"\n")[1 if len(table) > 4096 else 0 : -1][-_LOOKED_AT:]
    odd = 0
    for text in reversed(tail):
        fields = text.split(shape.delimiter)
        if len(fields) != shape.width + shape.trailing or _numeric(fields, shape) == shape.numeric:
            break
        odd += 1
    if 0 < odd < len(tail):
        first = line + table.count(b"\n") - odd
        raise Trouble(
            "footer-unclear",
            f"the rows from line {first} on are of another kind than the rows before them: "
            f"{shown(tail[-odd])}",
            line=first,
            text=tail[-odd].decode("utf-8", "replace"),
            do=f"declare footer {odd} if they are a summary, footer 0 if they are frames",
        )


def _numeric(fields: list[bytes], shape: Shape) -> frozenset[int]:
    return numeric_columns(fields, shape.time, shape.width) & shape.numeric


def numeric_columns(fields: list[bytes], time: int, width: int) -> frozenset[int]:
    """Return the columns but that of the times in which a row has a number."""
    return frozenset(
        place for place, cell in enumerate(fields[:width]) if place != time and is_number(cell)
    )


def _gist(text: bytes) -> str:
    """Return the first words of some lines, to be shown."""
    filled = [each for each in text.split(b"\n") if each.strip()]
    return "; ".join(shown(each) for each in filled[:3]) + (" …" if len(filled) > 3 else "")
