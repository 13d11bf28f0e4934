from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from harness.plan.document import Night
from harness.plan.nights import night_end

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
