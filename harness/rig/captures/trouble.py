"""What can be wrong with a capture: the one table of codes, and one trouble.

Pure. *Refused* means that a declaration, or the shape of the file, must be put right: the
same recording may then be read. *Void* means that the recording itself is bad: no
declaration can help, and the pass must be carried out again.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.errors import CaptureError, Problem

REFUSED = "refused"
VOID = "void"

#: Code -> what it makes of the capture, and what it means.
CODES: dict[str, tuple[str, str]] = {
    # the file and its text
    "capture-missing": (REFUSED, "the file is not there, or cannot be opened or read"),
    "library-missing": (REFUSED, "reading this carrier needs a library that is not installed"),
    "encoding-unknown": (REFUSED, "the text is not UTF-8 and says nothing of what it is"),
    "encoding-wrong": (REFUSED, "the text is not in the encoding that was declared"),
    "nul-bytes": (REFUSED, "NUL bytes stand inside the text"),
    "line-too-long": (REFUSED, "no line ends for many megabytes: this is no table"),
    "empty-capture": (VOID, "the file has no bytes"),
    "damaged-capture": (VOID, "the compressed file is damaged"),
    "truncated": (VOID, "the last line is not complete, so the recording was cut off"),
    # the table
    "delimiter-unclear": (REFUSED, "what separates two fields cannot be told"),
    "header-missing": (REFUSED, "no header where one must be"),
    "footer-unclear": (REFUSED, "the last lines look like a summary, not like frames"),
    "column-missing": (REFUSED, "a column that was named is not there"),
    "column-twice": (REFUSED, "two columns have the name that was named"),
    "column-unclear": (REFUSED, "which column holds the frame times was not declared"),
    "row-width": (REFUSED, "a row has another number of fields than the header"),
    "quotes": (REFUSED, "a quoted field is not closed as it must be"),
    "programs-mixed": (REFUSED, "frames of several programs are in the file"),
    "kinds-mixed": (REFUSED, "frames of several kinds are in the file"),
    "blank-line": (VOID, "an empty line stands inside the table"),
    "header-again": (VOID, "the header comes again: two recordings in one file"),
    "no-frames": (VOID, "there is not one frame in the file"),
    # the numbers
    "unit-missing": (REFUSED, "the unit of the frame times was not declared"),
    "unit-unknown": (REFUSED, "a unit that is none of s, ms, us, ns"),
    "unit-conflict": (REFUSED, "the file says another unit than was declared"),
    "unit-implausible": (REFUSED, "in the declared unit the frames cannot be true"),
    "rate-column": (REFUSED, "the column holds rates, not times"),
    "decimal-unclear": (REFUSED, "whether a mark is a decimal or a thousands mark cannot be told"),
    "thousands-unclear": (REFUSED, "a thousands mark stands in a number and was not declared"),
    "looks-like-clock": (REFUSED, "the times rise or fall all the way, as clock values do"),
    "not-a-number": (REFUSED, "a cell of the column is not a number"),
    "bad-cells": (VOID, "cells hold NaN, infinity, nothing, or N/A"),
    "negative-times": (VOID, "frame times are below zero"),
    "zero-times": (VOID, "frame times are zero"),
    "clock-steps-back": (VOID, "the clock went back between two frames"),
    "unit-changes": (VOID, "the unit changes within the column"),
    # the recording
    "frames-lost": (VOID, "the frame counter has gaps"),
    "rows-repeated": (VOID, "the frame counter comes twice"),
    "glued-runs": (VOID, "the frame counter starts again: two recordings in one file"),
    "short-capture": (VOID, "the frames do not last as long as the scene"),
    "longer-than-pass": (VOID, "the frames last longer than the command ran"),
}


class Trouble(Exception):
    """One thing that is wrong with a capture.

    Raised where nothing more can be read; collected where reading may go on.

    Args:
        code: One of `CODES`.
        what: What was found, one sentence without a full stop.
        do: What to do, one sentence without a full stop.
        line: The line of the file, from 1; None for the whole file.
        text: The line or cell itself, to be shown.
    """

    def __init__(
        self, code: str, what: str, *, do: str, line: int | None = None, text: str | None = None
    ) -> None:
        super().__init__(what)
        self.verdict = CODES[code][0]
        self.code = code
        self.what = what
        self.do = do
        self.line = line
        self.text = text

    @property
    def void(self) -> bool:
        """Return whether the recording itself is bad."""
        return self.verdict == VOID


#: What to do about every void capture; a reason may say more.
AGAIN = "carry the pass out again; the file stays as it is, so look at what wrote it"


def problem(trouble: Trouble, *, file: str, frames: int = 0) -> Problem:
    """Return *trouble* as the problem that is shown; *frames* could be read all the same."""
    from harness.errors import Place, Problem

    where: tuple[str, ...] = ()
    if trouble.void:
        where = (f"the recording itself is void; {frames} frames of it can be read",)
    return Problem(
        code=trouble.code,
        what=trouble.what,
        do=trouble.do,
        where=where,
        place=Place(
            file=file, line=trouble.line, text=trouble.text if trouble.line is not None else None
        ),
    )


def error(troubles: tuple[Trouble, ...], *, file: str, frames: int = 0) -> CaptureError:
    """Return *troubles* as the error that a command ends with."""
    from harness.errors import CaptureError

    return CaptureError([problem(each, file=file, frames=frames) for each in troubles])


def shown(cell: bytes | str, *, most: int = 40) -> str:
    r"""Return a cell as a message shows it: quoted, what cannot be seen escaped, cut.

    Marks that could be mistaken for others (a typographic minus, a no-break space) count as
    what cannot be seen.

    >>> shown(b"16.4\x0012")
    "'16.4\\x0012'"
    """
    text = cell.decode("utf-8", "replace") if isinstance(cell, bytes) else cell
    safe = "".join(
        c
        if (c.isascii() and c.isprintable()) or c.isalnum()
        else c.encode("unicode_escape").decode("ascii")
        for c in text[:most]
    )
    return f"'{safe}…'" if len(text) > most else f"'{safe}'"


def listed(names: list[str] | tuple[str, ...], *, most: int = 12) -> str:
    """Return names as a message lists them."""
    parts = [shown(name) for name in names[:most]]
    if len(names) > most:
        parts.append(f"… {len(names) - most} more")
    return ", ".join(parts)


def implausible(value_ms: float, unit: str, *, line: int | None = None, clock: bool) -> Trouble:
    """Return the trouble of frames that cannot be true in the declared unit."""
    rate = f"{1000.0 / value_ms:.4g} frames a second"
    if value_ms > 1000.0:
        rate = f"{value_ms / 1000.0:.4g} s a frame"
    other = "" if clock else ", or values clock if they are instants"
    return Trouble(
        "unit-implausible",
        f"frame times of {value_ms:.4g} ms, that is {rate}, cannot be true: the unit was taken "
        f"as {unit}",
        line=line,
        do=f"declare the unit of the column{other}",
    )
