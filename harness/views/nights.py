"""The hours that a plan may run unattended, as one line for a person.

Pure.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it: whoever shows a plan need not import its document
if TYPE_CHECKING:
    from collections.abc import Sequence


_WEEK = 7  # days: a night of every day names none


def night_line(*, start: int, end: int, days: Sequence[str], zone: str) -> str:
    """Return what becomes of a plan's night; times are minutes of the local day."""
    named = "" if len(days) in (0, _WEEK) else " ".join(days)
    when = ", ".join(part for part in (named, zone) if part)
    return (
        f"night: {_clock(start)} to {_clock(end)}{f' ({when})' if when else ''} is kept with the "
        "plan; as yet the plan is started by hand, with harness run"
    )


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"
