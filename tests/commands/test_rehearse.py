"""When a rehearsal starts: as asked, with the plan's next night, or now. The rig's local time."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from harness.commands.rehearse import _start, _zone
from harness.errors import AskedError
from harness.plan import document as d
from tests.run.rehearsal import plan

LISBON = ZoneInfo("Europe/Lisbon")
NOW = datetime(2026, 11, 6, 23, 0, tzinfo=UTC)  # a Friday; Lisbon is at UTC in winter


def nights(*days: str, zone: str = "Europe/Lisbon") -> d.Plan:
    night = d.Night(start_minute=22 * 60 + 30, end_minute=7 * 60, days=days, zone=zone)
    return dataclasses.replace(plan(), night=night)


def test_a_plan_without_a_night_starts_now() -> None:
    assert _start(None, plan(), LISBON, now=NOW) == NOW


def test_a_plan_with_a_night_starts_with_the_next_one() -> None:
    asked = nights("mon", "tue", "wed", "thu", "fri")
    assert _start(None, asked, LISBON, now=NOW) == datetime(2026, 11, 9, 22, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("23:30", datetime(2026, 11, 6, 23, 30, tzinfo=UTC)),
        ("22:30", datetime(2026, 11, 7, 22, 30, tzinfo=UTC)),
        ("2026-07-01 22:30", datetime(2026, 7, 1, 21, 30, tzinfo=UTC)),  # summer time
        ("2026-07-01T22:30", datetime(2026, 7, 1, 21, 30, tzinfo=UTC)),
    ],
)
def test_a_time_that_is_asked_for_is_the_rigs_local_time(text: str, at: datetime) -> None:
    assert _start(text, plan(), LISBON, now=NOW) == at


@pytest.mark.parametrize("text", ["soon", "25:00", "22.30", ""])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(AskedError, match="bad-time"):
        _start(text, plan(), LISBON, now=NOW)


def test_a_zone_that_is_not_known_is_refused() -> None:
    with pytest.raises(AskedError, match="no-such-zone"):
        _zone(nights(zone="Atlantis/Capital"))
