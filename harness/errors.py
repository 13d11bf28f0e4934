"""What went wrong, where, and what to do: one shape and one renderer for all of it.

Pure.

    HarnessError                 never shown with a traceback
    ├── PlanError                the author edits the plan           exit 2
    ├── AskedError               the command line was used wrongly   exit 2
    ├── CaptureError             a capture cannot be taken as it is  exit 2; in a run: a verdict
    ├── RigError                 the rig is not ready, busy or held  exit 3
    └── StoreError               nothing can be kept                 exit 4
    IllegalTransition and anything else: a bug in us, exit 70, with its traceback.

Every problem has a kebab-case code that stays the same over versions, one sentence of
what happened, the place to look at, and what to do.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence

from harness.values import Value


class Exit(enum.IntEnum):
    """The exit statuses of every command."""

    WELL = 0  #: all well
    NOT_ALL_ACCEPTED = 1  #: done, with cells not accepted
    ASKED_WRONGLY = 2  #: the plan, a file or the command line must be corrected
    RIG_NOT_READY = 3  #: the rig is not ready, busy or held
    STORE = 4  #: the store cannot be used
    STOPPED = 5  #: stopped on request; the same command goes on
    BUG = 70  #: a bug in the harness


class Place(Value):
    """A place in a file: line and column count from 1, in characters.

    Args:
        file: Path as the user wrote it.
        line: Line, or None for the whole file.
        column: First column, or None for the whole line.
        text: The line itself, to be shown; None where it is not at hand.
        width: How many characters the caret line underlines.
    """

    file: str
    line: int | None = None
    column: int | None = None
    text: str | None = None
    width: int = 1

    def __str__(self) -> str:
        parts = [self.file]
        if self.line is not None:
            parts.append(str(self.line))
            if self.column is not None:
                parts.append(str(self.column))
        return ":".join(parts)


class Problem(Value):
    """One thing that is wrong.

    Args:
        code: Kebab-case, stable.
        what: What happened, one sentence without a full stop.
        do: What to do, one sentence without a full stop.
        place: Where to look, in a file.
        where: Where to look, in words (cell, pass, reading), one line each.
        severity: ``error`` or ``warning``.
    """

    code: str
    what: str
    do: str
    place: Place | None = None
    where: tuple[str, ...] = ()
    severity: str = "error"


def printable(text: str) -> str:
    r"""Return *text* with every invisible character escaped, to be shown in a message.

    >>> printable("D:\new\tests")
    'D:\\new\\tests'
    """
    return "".join(
        c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text
    )


_SHOWN_COLUMNS = 96  # of a source line: a longer one is cut around the caret


def _excerpt(place: Place) -> list[str]:
    if place.text is None:
        return []
    # One output character per source character, so that the caret stands right.
    shown = "".join(c if c.isprintable() else "\N{MIDDLE DOT}" for c in place.text)
    column = (place.column or 1) - 1
    start = 0 if column < _SHOWN_COLUMNS - 16 else column - 24
    window = shown[start : start + _SHOWN_COLUMNS]
    if start:
        window = "…" + window[1:]
    if start + _SHOWN_COLUMNS < len(shown):
        window = window[:-1] + "…"
    lines = ["      " + window.rstrip()]
    if place.column is not None:
        room = max(1, len(window) - (column - start))
        lines.append("      " + " " * (column - start) + "^" * max(1, min(place.width, room)))
    return lines


def render(problem: Problem) -> str:
    """Return *problem* as a person reads it: what, where with the line, what to do."""
    lines = [f"{problem.severity}[{problem.code}]: {problem.what}"]
    if problem.place is not None:
        lines.append(f"  {problem.place}")
        lines.extend(_excerpt(problem.place))
    lines.extend(f"  {line}" for line in problem.where)
    lines.append(f"  do: {problem.do}")
    return "\n".join(lines)


def as_json(problem: Problem) -> dict[str, object]:
    """Return *problem* as the object that ``--json`` shows."""
    place = problem.place
    return {
        "code": problem.code,
        "severity": problem.severity,
        "message": problem.what,
        "file": place.file if place else None,
        "line": place.line if place else None,
        "column": place.column if place else None,
        "where": list(problem.where),
        "do": problem.do,
    }


class HarnessError(Exception):
    """Something a person can put right; carries one problem or several, in order."""

    status = Exit.ASKED_WRONGLY

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(render(problem) for problem in self.problems))


class PlanError(HarnessError):
    """The plan file must be edited."""


class AskedError(HarnessError):
    """The command line, or what it names, must be corrected."""


class CaptureError(HarnessError):
    """A capture cannot be taken as it is."""


class RigError(HarnessError):
    """The rig is not ready, is busy, or is held."""

    status = Exit.RIG_NOT_READY


class StoreError(HarnessError):
    """Nothing can be kept, so nothing is started."""

    status = Exit.STORE
