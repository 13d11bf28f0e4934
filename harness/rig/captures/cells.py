"""Cells of one column -> numbers, by one grammar and no other.

Pure. A number is ``[+-] digits [. digits] [e [+-] digits]``, blanks around it allowed; the
decimal mark, the thousands mark and a unit after it are those of one `Style`, the same for
every cell of the column. A cell that is anything else is never passed over, for it is
likely the worst frame: it refuses the capture, or makes it void.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from harness.plan.frame_log import SPELLINGS
from harness.rig.captures.declared import Declared
from harness.rig.captures.trouble import AGAIN, Trouble, shown

#: Every space that a program may put between thousands; a declared space means any of them.
SPACES: tuple[bytes, ...] = tuple(
    c.encode() for c in (" ", "\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}", "\N{THIN SPACE}")
)
_APOSTROPHES: tuple[bytes, ...] = (b"'", "\N{RIGHT SINGLE QUOTATION MARK}".encode())

_PLAIN_BYTES = b"0123456789.\n"


class Style:
    """How the numbers of one column are written.

    Args:
        decimal: The decimal mark.
        thousands: The marks that may stand between thousands.
        suffix: What stands after every number: blanks and a unit; empty for nothing.
    """

    __slots__ = ("_grammar", "decimal", "suffix", "thousands")

    def __init__(
        self, *, decimal: bytes = b".", thousands: tuple[bytes, ...] = (), suffix: bytes = b""
    ) -> None:
        self.decimal = decimal
        self.thousands = thousands
        self.suffix = suffix
        self._grammar: tuple[re.Pattern[bytes], re.Pattern[bytes]] | None = None

    @property
    def plain(self) -> bool:
        """Return whether numbers stand as every program reads them."""
        return self.decimal == b"." and not self.thousands and not self.suffix

    def grammar(self) -> tuple[re.Pattern[bytes], re.Pattern[bytes]]:
        """Return the pattern of one cell, and of many, each ended by a line feed."""
        if self._grammar is None:
            mark = re.escape(self.decimal)
            whole = rb"[0-9]++"
            if self.thousands:
                between = b"|".join(map(re.escape, self.thousands))
                whole = rb"(?>[0-9]{1,3}(?:(?:%b)[0-9]{3})++|[0-9]++)" % between
            number = rb"(?>%b(?:%b[0-9]*+)?+|%b[0-9]++)(?:[eE][+-]?+[0-9]++)?+" % (
                whole,
                mark,
                mark,
            )
            cell = rb"[ \t]*+[+-]?+%b%b[ \t]*+" % (number, re.escape(self.suffix))
            self._grammar = (re.compile(cell), re.compile(rb"(?:%b\n)*+" % cell))
        return self._grammar


PLAIN = Style()


class BadCells(Exception):
    """Some cells are no numbers: their places from 0, and their texts."""

    def __init__(self, bad: list[tuple[int, bytes]]) -> None:
        super().__init__(f"{len(bad)} cells are no numbers")
        self.bad = bad


def numbers(cells: Sequence[bytes], style: Style) -> list[float]:
    """Return the cells as numbers.

    A number too large for a float is infinite here; whoever asks for the largest sees it.

    Raises:
        BadCells: some are not numbers of this style.
    """
    joined = b"\n".join(cells)
    if joined.count(b"\n") != max(0, len(cells) - 1):
        # A line break inside quotes: each half would pass for a number of its own.
        raise _bad(cells, style)
    if style.plain and not joined.translate(None, _PLAIN_BYTES):
        # Only digits and points: what float() takes of these is exactly the grammar.
        try:
            return list(map(float, cells))
        except ValueError:
            raise _bad(cells, style) from None
    if not style.grammar()[1].fullmatch(joined + b"\n"):
        raise _bad(cells, style)
    if style.plain:
        return list(map(float, cells))
    if style.suffix:  # first: a space in it may be a thousands mark too
        joined = joined.replace(style.suffix, b"")
    for mark in style.thousands:
        joined = joined.replace(mark, b"")
    joined = joined.replace(style.decimal, b".")
    return list(map(float, joined.split(b"\n")))


def _bad(cells: Sequence[bytes], style: Style) -> BadCells:
    fits = style.grammar()[0].fullmatch
    return BadCells([(place, cell) for place, cell in enumerate(cells) if not fits(cell)])


# ------------------------------------------------------------------ what style a column has

# Patterns are compiled where they are used: a plain capture needs none of them.
_SUFFIX = rb"[0-9.,](\xc2\xa0| ?)([A-Za-z]+|(?:\xc2\xb5|\xce\xbc)s)[ \t]*"
# One comma in the cell, digits around it; anything that holds no digit may stand after them.
_COMMA = rb"(?m)^[^,\n]*[0-9],([0-9]+)[^,0-9\n]*$"
_BOTH = rb"(?m)^[^\n]*(?:[0-9]\.[0-9]+,[0-9]|[0-9],[0-9]+\.[0-9])[^\n]*$"
_MARKED = (
    rb"[ \t]*[+-]?[0-9]{1,3}"
    rb"(?:(?:[.,' ]|\xc2\xa0|\xe2\x80\xaf|\xe2\x80\x89|\xe2\x80\x99)[0-9]{3})+"
    rb"(?:[.,][0-9]*)?[ \t]*"
)


def style_of(cells: Sequence[bytes], declared: Declared) -> tuple[Style, str | None]:
    """Return how the numbers of a column are written, and the unit that stands after them.

    Declared marks are taken as they are. What is not declared is told from the first rows
    where it cannot be wrong: a comma can only be a decimal mark if one has other than three
    digits behind it and no point stands beside it.

    Raises:
        Trouble: a mark may mean two things.
    """
    decimal = declared.decimal.encode() if declared.decimal else b"."
    thousands = _marks(declared.thousands)
    if declared.decimal is None:
        joined = b"\n".join(cells)
        if not thousands and not joined.translate(None, _PLAIN_BYTES):
            return PLAIN, None
        if b"." in thousands or (b"," in joined and b"," not in thousands):
            decimal = b"," if b"." in thousands else _comma(joined) or decimal
    if decimal in thousands:
        raise Trouble(
            "decimal-unclear",
            f"{shown(decimal)} is declared as decimal mark and as thousands mark",
            do="declare two different marks",
        )
    return _with_suffix(cells, decimal, thousands)


def _marks(thousands: str | None) -> tuple[bytes, ...]:
    if not thousands:
        return ()
    mark = thousands.encode()
    for family in (SPACES, _APOSTROPHES):
        if mark in family:
            return family
    return (mark,)


def _comma(joined: bytes) -> bytes | None:
    """Return the comma if it can only be the decimal mark."""
    both = re.search(_BOTH, joined)
    if both:
        decimal, thousands = (".", ",") if both[0].rfind(b".") > both[0].rfind(b",") else (",", ".")
        raise Trouble(
            "thousands-unclear",
            f"{shown(both[0].strip())} has two marks, and neither was declared",
            do=f'declare thousands "{thousands}" and decimal "{decimal}"',
        )
    fractions = re.findall(_COMMA, joined)
    if not fractions or b"." in joined:
        return None  # what the commas are shows where the cell fails
    if all(len(digits) == 3 for digits in fractions):
        raise Trouble(
            "decimal-unclear",
            "every comma in the column has three digits behind it: decimal or thousands mark?",
            do='declare decimal "," or thousands ","',
        )
    return b","


def _with_suffix(
    cells: Sequence[bytes], decimal: bytes, thousands: tuple[bytes, ...]
) -> tuple[Style, str | None]:
    found = re.search(_SUFFIX, cells[0]) if cells else None
    unit = SPELLINGS.get(found[2].decode("utf-8", "replace").lower()) if found else None
    if found is None or unit is None or found.end() != len(cells[0]):
        return Style(decimal=decimal, thousands=thousands), None
    return Style(decimal=decimal, thousands=thousands, suffix=found[1] + found[2]), unit


# --------------------------------------------------------------- what a bad cell makes of it

_KINDS = (
    ("NaN", rb"(?i)[+-]?(nan(\(.*\))?|1\.#(ind|qnan|snan).*)"),
    ("infinite", rb"(?i)[+-]?(inf|infinity|1\.#inf.*)"),
    ("N/A", rb"(?i)#?n/?a|null|none|nil|-+|\?"),
)


def kind_of(cell: bytes) -> str | None:
    """Return what a cell says instead of a number; None: it says nothing that has a name."""
    text = cell.strip()
    if not text:
        return "blank"
    for kind, pattern in _KINDS:
        if re.fullmatch(pattern, text):
            return kind
    return None


def trouble_of(cell: bytes, style: Style, *, column: str, line: int | None) -> Trouble:
    """Return the trouble that a cell makes which is neither a number nor absent."""
    what = f"{shown(cell)} in column {shown(column)} is not a number"
    suffix = re.search(_SUFFIX, cell)
    if suffix and SPELLINGS.get(suffix[2].decode("utf-8", "replace").lower()):
        had = shown(style.suffix.strip()) if style.suffix else "none"
        return Trouble(
            "unit-changes",
            f"{shown(cell)} in column {shown(column)} has a unit after it that the rows before "
            f"do not have (theirs: {had})",
            line=line,
            do=AGAIN,
        )
    if style.suffix and style_without_suffix(style).grammar()[0].fullmatch(cell):
        return Trouble(
            "unit-changes",
            f"{shown(cell)} in column {shown(column)} has no unit after it; the rows before "
            f"have {shown(style.suffix.strip())}",
            line=line,
            do=AGAIN,
        )
    if re.fullmatch(_COMMA, cell) and style.decimal == b".":
        return Trouble(
            "decimal-unclear",
            what,
            line=line,
            do='declare decimal "," if that is its decimal mark, thousands "," if not',
        )
    if re.fullmatch(_MARKED, cell):
        return Trouble(
            "thousands-unclear",
            f"{what} as declared: a mark stands between its thousands",
            line=line,
            do="declare thousands (and decimal, if that is not the point) as the file has them",
        )
    return Trouble(
        "not-a-number",
        what,
        line=line,
        do="see that column and header are declared rightly; a file with such a cell is not read",
    )


def style_without_suffix(style: Style) -> Style:
    """Return *style* for numbers with nothing after them."""
    return Style(decimal=style.decimal, thousands=style.thousands)
