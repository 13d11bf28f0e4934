"""Read one capture by itself and print its figures, flags and notes.

What is not declared is detected only where detection cannot be wrong; otherwise the file is
refused, and the message names the declaration that settles it.
"""

from __future__ import annotations

from harness.plan.frame_log import may_separate
from harness.rig.captures.declared import Declared
from harness.rig.captures.read import read_capture

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse
    from typing import TextIO

    from harness.errors import AskedError
    from harness.rig.captures.assembly import Part

#: Marks that a shell does not like to be given, by name.
NAMED_MARKS: dict[str, str] = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    "\\t": "\t",
    "pipe": "|",
    "space": " ",
    "point": ".",
    "dot": ".",
    "apostrophe": "'",
}

LENGTH_TOLERANCE = 0.02  # of --length

_SECONDS = {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add = parser.add_argument
    add("file", metavar="FILE", help="the capture")
    add("--column", metavar="NAME", help="column of frame times; its number if there is no header")
    add("--unit", metavar="UNIT", help="its unit: s, ms, us or ns")
    add(
        "--values",
        choices=("durations", "clock"),
        default="durations",
        help="what it holds: durations (default), or clock for instants",
    )
    add("--delimiter", metavar="MARK", help="what separates fields; or comma, semicolon, tab, pipe")
    add("--decimal", metavar="MARK", help="decimal mark; or comma, point")
    add("--thousands", metavar="MARK", help="thousands mark; or comma, point, space, apostrophe")
    add("--encoding", metavar="NAME", help="text encoding; UTF-8 unless the file says otherwise")
    add("--header", metavar="LINE", help="line of the header, or none")
    add("--footer", metavar="LINES", help="lines to drop at the end")
    add(
        "--where",
        metavar="COLUMN=TEXT",
        action="append",
        default=[],
        help="count only rows that have this text; may be repeated, all must hold",
    )
    add(
        "--kinds",
        metavar="COLUMN=KIND,…",
        help="column that names the kind of each frame, and the kinds that count",
    )
    add("--counter", metavar="NAME", help="column that counts the frames, one by one")
    add(
        "--length",
        metavar="TIME",
        help=f"how long the scene is ({LENGTH_TOLERANCE:.0%} less at most), as in '60 s'; what "
        "comes after is not measured".replace("%", "%%"),
    )
    add(
        "--within",
        action="store_true",
        help="where the frames settle, how many they are worth, and intervals by them alone",
    )
    add("--json", action="store_true", help="print harness.figures/1")


def run(args: argparse.Namespace, out: TextIO) -> int:
    """Read the file and print its figures; return the exit status.

    A capture that is refused or void ends with status 2.

    Raises:
        AskedError: an option cannot be understood.
        CaptureError: the capture is refused or void, and the answer is for a person.
    """
    hasher = None
    if args.json:
        import hashlib

        hasher = hashlib.sha256()
    declared, part = _declared(args), _part(args.length)
    capture = read_capture(args.file, declared, part=part, hasher=hasher)
    sound = capture.times is not None and not capture.troubles
    within = None
    if args.within and sound:
        from harness.commands.within import of_times

        assert capture.times is not None
        within = of_times(capture.times)
    if hasher is not None:
        from harness.views.capture import as_json

        more = {}
        if args.within and sound:
            from harness.views.within import within_json

            more = {"within": within_json(within)}
        print(as_json(args.file, capture, sha256=hasher.hexdigest(), more=more), file=out)
        return 0 if sound else 2
    if not sound:
        from harness.rig.captures.trouble import error

        raise error(capture.troubles, file=args.file, frames=capture.frames)
    from harness.views.capture import as_table

    print(as_table(args.file, capture), file=out)
    if args.within:
        from harness.views.within import within_lines

        print(file=out)
        for line in within_lines(within):
            print(line, file=out)
    return 0


def _declared(args: argparse.Namespace) -> Declared:
    kinds_column, kinds = None, ""
    if args.kinds is not None:
        kinds_column, kinds = _pair(args.kinds, "--kinds", "COLUMN=KIND,…")
    header = args.header
    if header is not None and header != "none":
        header = _whole(header, "--header", least=1)
    return Declared(
        column=args.column,
        unit=args.unit,
        values=args.values,
        delimiter=_mark(args.delimiter, "--delimiter"),
        decimal=_mark(args.decimal, "--decimal"),
        thousands=_mark(args.thousands, "--thousands"),
        encoding=args.encoding,
        header=header,
        footer=None if args.footer is None else _whole(args.footer, "--footer", least=0),
        where=tuple(_pair(each, "--where", "COLUMN=TEXT") for each in args.where),
        kinds_column=kinds_column,
        kinds=tuple(kind.strip() for kind in kinds.split(",")) if kinds else (),
        counter=args.counter,
    )


def _mark(text: str | None, option: str) -> str | None:
    if text is None:
        return None
    mark = NAMED_MARKS.get(text.lower(), text)
    if not may_separate(mark):
        raise _asked(
            f"{option} is {text!r}; it must be one mark", f"write one of {', '.join(NAMED_MARKS)}"
        )
    return mark


def _pair(text: str, option: str, form: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not (name.strip() and equals and value.strip()):
        raise _asked(f"{option} is {text!r}; it needs both sides", f"write {option} {form}")
    return name, value


def _whole(text: str, option: str, *, least: int) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) >= least):
        raise _asked(
            f"{option} is {text!r}; it must be a whole number from {least} on",
            f"write {option} {max(least, 4)}" + (", or none" if option == "--header" else ""),
        )
    return int(text)


def _part(length: str | None) -> Part | None:
    if length is None:
        return None
    number = length.rstrip("abcdefghijklmnopqrstuvwxyz ")
    unit = length[len(number) :].strip()
    if not number.replace(".", "", 1).isdigit() or not number.isascii() or not float(number) > 0.0:
        raise _asked(f"--length is {length!r}; it must be a time", "write --length '60 s'")
    if unit not in _SECONDS:
        meant = f"{number} s" if not unit else "60 s"
        raise _asked(
            f"--length is {length!r}; a time needs a unit: {', '.join(_SECONDS)}",
            f"write --length '{meant}'",
        )
    from harness.rig.captures.assembly import Part

    length_ms = float(number) * _SECONDS[unit] * 1000.0
    return Part(from_ms=0.0, length_ms=length_ms, tolerance=LENGTH_TOLERANCE)


def _asked(what: str, do: str) -> AskedError:
    from harness.errors import AskedError, Problem

    return AskedError(Problem(code="bad-option", what=what, do=do))
