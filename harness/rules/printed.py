"""What a title printed: the texts that a plan's pattern takes out of it, and the one number.

Touches disk. Standard output is read first, then standard error.
"""

from __future__ import annotations

from pathlib import Path

from harness.rig.captures.cells import PLAIN
from harness.rules.finding import SEARCH_S, Found, TooLong, found

MOST_OUTPUT_BYTES = 64 << 20  #: of output that a pattern is looked for in
_MOST_SHOWN = 60
_STREAMS = ("stdout", "stderr")


class NotFound(Exception):
    """The pattern gives no number, or no text; its text says why."""


def texts_printed(pattern: str, folder: Path) -> tuple[str, ...]:
    """Return every text that *pattern* takes out of the output kept in *folder*, each once.

    Raises:
        NotFound: the search did not come back.
    """
    return tuple(each.text for stream in _STREAMS for each in _found(pattern, folder, stream))


def number_printed(pattern: str, folder: Path) -> float:
    """Return the one number that *pattern* takes out of the output kept in *folder*.

    Raises:
        NotFound: there is none, there are several, what was taken is no number or only a
            part of one, or the search did not come back.
    """
    for stream in _STREAMS:
        taken = _found(pattern, folder, stream)
        values = sorted({_number(each, f"output/{stream}") for each in taken})
        if len(values) > 1:
            raise NotFound(
                f"the pattern finds {len(values)} different values in output/{stream}, "
                f"{values[0]:g} to {values[-1]:g}; make it find the one that is meant"
            )
        if values:
            return values[0]
    raise NotFound("the pattern is not found in the output")


def shown(value: object) -> str:
    """Return *value* as a message shows it: not longer than a line."""
    text = repr(value)
    return text if len(text) <= _MOST_SHOWN else text[:_MOST_SHOWN] + "…"


def _found(pattern: str, folder: Path, stream: str) -> tuple[Found, ...]:
    text = _output(folder, stream)
    try:
        return found(pattern, text)
    except TooLong:
        raise NotFound(
            f"the search for the pattern in the {len(text)} characters of output/{stream} did not "
            f"come back within {SEARCH_S:g} s, as where one repeat stands inside another; write "
            "it without, and begin it with a word that stands before the number"
        ) from None


def _output(folder: Path, stream: str) -> str:
    try:
        with (folder / "output" / stream).open("rb") as file:
            return file.read(MOST_OUTPUT_BYTES).decode("utf-8", "replace")
    except OSError:
        return ""


def _number(taken: Found, where: str) -> float:
    written = taken.text.encode()
    value = float(written) if PLAIN.grammar()[0].fullmatch(written) else float("nan")
    if not abs(value) < float("inf"):
        raise NotFound(f"{shown(taken.text)} in {where} is not a number")
    if taken.whole is not None:
        raise NotFound(
            f"the pattern takes {shown(taken.text)} out of {shown(taken.whole)} in {where}, and "
            "the number may go on there; have the title print it in digits with a decimal point "
            r"and no thousands mark, and take the whole of it: (?P<value>\S+). Where another "
            "number stands there, write it before or behind the group, with what parts the two: "
            r"[0-9.]+,(?P<value>[0-9.]+) or (?P<value>\d+)\s+\d"
        )
    return value
