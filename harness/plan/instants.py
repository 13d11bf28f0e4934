"""An instant as a person writes it on a command line: a time, a day and a time, or RFC 3339.

Pure, but for the machine's own time zone.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from harness.errors import AskedError, Problem

_DAY = ("%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M")


def instant_of(text: str, *, now: datetime, option: str) -> datetime:
    """Return the instant that *text* stands for, UTC.

    A time of the day alone is the next one. What has no zone is on this machine's clock; a
    time that comes twice is the first, one that is left out is counted on (RFC 5545, 3.3.5).

    Args:
        text: ``22:30``, ``2026-11-25 22:30``, ``2026-11-25T22:30:00Z``, or ``now``.
        now: The instant, aware.
        option: Named in the error.

    Raises:
        AskedError: it stands for none.
    """
    text = text.strip()
    if text == "now":
        return now.astimezone(UTC).replace(microsecond=0)
    try:
        clock = datetime.strptime(text, "%H:%M")  # noqa: DTZ007 - the zone is the machine's
    except ValueError:
        return _with_day(text, option)
    today = now.astimezone().date()
    for days in (0, 1):
        found = datetime.combine(today + timedelta(days=days), clock.time()).astimezone(UTC)
        if found >= now:
            return found
    raise AssertionError("a time of the day comes every day")  # a zone that jumps a day aside


def _with_day(text: str, option: str) -> datetime:
    for form in _DAY:
        try:
            return datetime.strptime(text, form).astimezone(UTC)
        except ValueError:
            continue
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise AskedError(
            Problem(
                code="bad-time",
                what=f"{option} is not a time: {text[:60]!r}",
                do='write "22:30", "2026-11-25 22:30", or with its zone "2026-11-25T22:30:00Z"',
            )
        )
    return found.astimezone(UTC)
