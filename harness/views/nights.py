"""The hours that a plan may run unattended, as one line for a person.

Pure.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it: whoever shows a plan need not import its document
if TYPE_CHECKING:
    from collections.abc import Sequence


_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def night_line(*, start: int, end: int, days: Sequence[str], zone: str) -> str:
    """Return what becomes of a plan's night.

    Args:
        start: Minute of the local day at which it begins.
        end: Minute at which it ends.
        days: ``mon`` to ``sun``, in any order; none: every day.
        zone: Name of the time zone; empty: the rig's own.
    """
    chosen = [day for day in _WEEK if day in days]
    named = "" if len(chosen) == len(_WEEK) else " ".join(chosen)
    when = ", ".join(part for part in (named, zone) if part)
    return (
        f"night: {_clock(start)} to {_clock(end)}{f' ({when})' if when else ''} is kept with the "
        "plan; harness queue PLAN lets this rig's daemon start it then"
    )


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"
