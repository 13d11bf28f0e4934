"""The hours that a plan may run unattended, and those of a person, in words.

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


def hours_words(*, start: int, end: int, zone: str) -> str:
    """Return the hours in which a person may be asked, with the zone that they are in.

    >>> hours_words(start=480, end=1320, zone="Europe/Lisbon")
    '08:00 to 22:00, Europe/Lisbon'
    >>> hours_words(start=480, end=1320, zone="")
    "08:00 to 22:00, the rig's own time"
    """
    where = zone or "the rig's own time"
    return f"{_clock(start)} to {_clock(end)}, {where}"


def _clock(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"
