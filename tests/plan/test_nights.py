from __future__ import annotations

from datetime import UTC, datetime
from itertools import islice
from zoneinfo import ZoneInfo

import pytest

from harness.plan.document import Night
from harness.plan.nights import night_end, nights

LISBON = ZoneInfo("Europe/Lisbon")
WORKDAYS = ("mon", "tue", "wed", "thu", "fri")


def ends(now: str, *, start: int = 1350, end: int = 420, days: tuple[str, ...] = WORKDAYS) -> str:
    night = Night(start_minute=start, end_minute=end, days=days, zone="Europe/Lisbon")
    moment = night_end(night, datetime.fromisoformat(now), zone=LISBON)
    return f"{moment:%a %Y-%m-%d %H:%M %z}"


@pytest.mark.parametrize(
    ("now", "end"),
    [
        ("2026-11-25T12:00+00:00", "Thu 2026-11-26 07:00 +0000"),  # before it begins
        ("2026-11-25T23:30+00:00", "Thu 2026-11-26 07:00 +0000"),  # in it
        ("2026-11-26T03:00+00:00", "Thu 2026-11-26 07:00 +0000"),  # in it, after midnight
        ("2026-11-27T22:45+00:00", "Sat 2026-11-28 07:00 +0000"),  # Friday's ends on Saturday
        ("2026-11-28T12:00+00:00", "Tue 2026-12-01 07:00 +0000"),  # the weekend is skipped
    ],
)
def test_the_night_that_is_or_comes_next(now: str, end: str) -> None:
    assert ends(now) == end


def test_a_night_within_one_day_ends_on_that_day() -> None:
    assert ends("2026-11-25T12:00+00:00", start=780, end=1020) == "Wed 2026-11-25 17:00 +0000"


def test_a_night_in_which_the_clocks_change_ends_by_the_wall_clock() -> None:
    # Europe/Lisbon goes to summer time on 2026-03-29 at 01:00 UTC (tz database).
    days = ("sat",)
    assert ends("2026-03-28T23:00+00:00", days=days) == "Sun 2026-03-29 07:00 +0100"


def test_the_end_itself_belongs_to_the_next_night() -> None:
    now = datetime(2026, 11, 26, 7, 0, tzinfo=UTC)
    night = Night(start_minute=1350, end_minute=420, days=WORKDAYS)
    assert night_end(night, now, zone=UTC) == datetime(2026, 11, 27, 7, 0, tzinfo=UTC)


def found(day: str, *, minute: int, zone: str = "Europe/Lisbon") -> list[str]:
    night = Night(start_minute=minute, end_minute=420, days=("sun",))
    some = nights(night, datetime.fromisoformat(day), zone=ZoneInfo(zone))
    return [f"{each.start:%Y-%m-%d %H:%M}" for each in islice(some, 2)]


# RFC 5545, section 3.3.5: a local time that comes twice is the first of the two; one that does
# not come is read with the offset before the gap. The clocks change as the tz database says.
@pytest.mark.parametrize(
    ("day", "minute", "start"),
    [
        ("2026-10-24T12:00Z", 90, "2026-10-25 00:30"),  # 01:30 comes at 00:30 and 01:30 UTC
        ("2027-03-27T12:00Z", 90, "2027-03-28 01:30"),  # 01:30 does not come: 02:30 in summer time
        ("2027-03-27T12:00Z", 150, "2027-03-28 01:30"),  # 02:30 in summer time, the same instant
    ],
)
def test_a_start_in_the_hour_of_the_clock_change_is_one_instant(
    day: str, minute: int, start: str
) -> None:
    assert found(day, minute=minute)[0] == start


def test_the_night_that_is_open_comes_first_and_the_next_a_week_later() -> None:
    assert found("2026-11-29T06:59Z", minute=150) == ["2026-11-29 02:30", "2026-12-06 02:30"]
    assert found("2026-11-29T07:00Z", minute=150) == ["2026-12-06 02:30", "2026-12-13 02:30"]
