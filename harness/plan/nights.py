"""The nights of a plan: when each begins, and up to when the rig must be left in peace.

Pure. A zone is handed in; the standard library may read its database behind it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from harness.plan.document import Night, Plan

_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class OneNight:
    """One night: the day it begins on, and its two instants, UTC. The end is not in it."""

    day: date
    start: datetime
    end: datetime


def nights(night: Night, now: datetime, *, zone: tzinfo | None) -> Iterator[OneNight]:
    """Yield the night that *now* is in, if it is in one, and all that follow, in order.

    Each is one night whatever the clocks do in it. A time of the day that the clocks leave
    out is counted on from before they change, and one that comes twice is the first: so has
    RFC 5545, section 3.3.5, and so Python's own zones (PEP 495, ``fold=0``).

    Args:
        night: Minutes of the local day, and the days it begins on.
        now: The instant, aware.
        zone: The night's zone; None: this machine's own.

    >>> from zoneinfo import ZoneInfo
    >>> night = Night(start_minute=90, end_minute=420, days=("sun",))
    >>> autumn = datetime(2026, 10, 24, 12, tzinfo=UTC)  # 01:30 comes twice in this night
    >>> first = next(nights(night, autumn, zone=ZoneInfo("Europe/Lisbon")))
    >>> f"{first.start:%a %H:%M} to {first.end:%a %H:%M} UTC"
    'Sun 00:30 to Sun 07:00 UTC'
    """
    days = night.days or _WEEK
    over_midnight = night.end_minute <= night.start_minute
    day = now.astimezone(zone).date() - timedelta(days=2)
    while True:
        if _WEEK[day.weekday()] in days:
            ends = day + timedelta(days=1) if over_midnight else day
            end = _instant(ends, night.end_minute, zone)
            if end > now:
                yield OneNight(day=day, start=_instant(day, night.start_minute, zone), end=end)
        day += timedelta(days=1)


def zone_of_hours(plan: Plan) -> str:
    """Return the name of the zone that a person's hours are in; empty: the rig's own.

    One plan has one wall clock: where its night gives a zone, a person's hours are in it too.
    """
    return plan.night.zone if plan.night is not None else ""


def _instant(day: date, minute: int, zone: tzinfo | None) -> datetime:
    # Built from the wall clock's own hours: a night in which the clocks change is an hour
    # longer or shorter, and still ends when it says.
    local = datetime(day.year, day.month, day.day, *divmod(minute, 60), tzinfo=zone)
    return local.astimezone(UTC)


def night_end(night: Night, now: datetime, *, zone: tzinfo) -> datetime:
    """Return the end of the night that *now* is in, else of the next one, in *zone*.

    Args:
        night: Minutes of the local day, and the days it begins on.
        now: The instant, aware.
        zone: The night's zone.

    >>> from datetime import UTC
    >>> night = Night(start_minute=1350, end_minute=420, days=("fri",))
    >>> f"{night_end(night, datetime(2026, 11, 28, 3, 0, tzinfo=UTC), zone=UTC):%a %H:%M}"
    'Sat 07:00'
    """
    return next(nights(night, now, zone=zone)).end.astimezone(zone)
