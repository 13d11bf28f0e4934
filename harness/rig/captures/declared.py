"""What was declared about a capture: how its columns, numbers and lines are to be read.

Pure. The same declarations come from a plan (``frames:``) and from the options of
``harness figures``; what is None was not declared and is detected only where detection
cannot be wrong.

A plain class: this module is on the way of ``harness figures``, whose whole process is held
to a few times the bare interpreter, and dataclasses alone would double that.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.plan.document import Frames

#: Unit of time -> how many of it make a millisecond (first number over second).
UNITS: dict[str, tuple[float, float]] = {
    "s": (1000.0, 1.0),
    "ms": (1.0, 1.0),
    "us": (1.0, 1000.0),
    "ns": (1.0, 1_000_000.0),
}


class Declared:
    """How a capture is to be read. None, or empty: not declared.

    Args:
        column: Name of the column of frame times, or its number from 1.
        unit: ``s``, ``ms``, ``us`` or ``ns``.
        values: ``durations``, or ``clock`` for instants whose differences are the durations.
        delimiter: One character between two fields.
        decimal: The decimal mark, one character.
        thousands: The thousands mark; a space stands for every kind of space.
        encoding: Name of the text encoding.
        header: Line of the header from 1, or ``none``.
        footer: Lines to drop at the end.
        where: Column and text that a row must have to be counted; all must hold.
        kinds_column: Column that names the kind of each frame.
        kinds: Kinds that are counted; the time of the others goes to the frame after them.
        counter: Column that counts the frames, one by one.
    """

    __slots__ = (
        "column",
        "counter",
        "decimal",
        "delimiter",
        "encoding",
        "footer",
        "header",
        "kinds",
        "kinds_column",
        "thousands",
        "unit",
        "values",
        "where",
    )

    def __init__(
        self,
        *,
        column: str | int | None = None,
        unit: str | None = None,
        values: str = "durations",
        delimiter: str | None = None,
        decimal: str | None = None,
        thousands: str | None = None,
        encoding: str | None = None,
        header: int | str | None = None,
        footer: int | None = None,
        where: tuple[tuple[str, str], ...] = (),
        kinds_column: str | None = None,
        kinds: tuple[str, ...] = (),
        counter: str | None = None,
    ) -> None:
        self.column = column
        self.unit = unit
        self.values = values
        self.delimiter = delimiter
        self.decimal = decimal
        self.thousands = thousands
        self.encoding = encoding
        self.header = header
        self.footer = footer
        self.where = where
        self.kinds_column = kinds_column
        self.kinds = kinds
        self.counter = counter


def declared(frames: Frames) -> Declared:
    """Return what a plan's ``frames`` declares."""
    return Declared(
        column=frames.column,
        unit=frames.unit,
        values=frames.values,
        delimiter=frames.delimiter,
        decimal=frames.decimal,
        thousands=frames.thousands,
        encoding=frames.encoding,
        header=frames.header,
        footer=frames.footer,
        where=frames.where,
        kinds_column=frames.kinds_column,
        kinds=frames.kinds,
        counter=frames.counter,
    )
