"""What comes next in a run, and the time left: the wait for a person's hours is in both."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from harness.plan import document as d
from harness.run import records as r
from tests.views.page import nights
from tests.views.page.nights import PLAN, RUN, made


def asked_within(hours: d.Person, zone: str) -> d.Plan:
    """Return the plan of the night, with a person's hours in *zone*."""
    night = d.Night(start_minute=0, end_minute=60, days=(), zone=zone)
    return dataclasses.replace(PLAN, person=hours, night=night)


def test_the_wait_for_a_persons_hours_is_told_in_their_zone_and_is_in_the_time_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The page looks at 06:30 UTC, which is 15:30 in Tokyo.
    hours = d.Person(from_minute=17 * 60, to_minute=18 * 60)
    monkeypatch.setattr(nights, "PLAN", asked_within(hours, "Asia/Tokyo"))
    place = made(tmp_path)
    place.journal_of([r.BlockClosed(block=0), r.BlockOpened(block=1)])
    page = place.page()
    line, _, _ = page.desk.run(RUN)
    ahead = page.ahead.of(line)
    assert ahead.next == (
        "a person is needed, and may be asked in 1 h 30 min (hours: 17:00 to 18:00, Asia/Tokyo)"
    )
    # and two passes of either cell, at most 90 s each
    assert ahead.left_s is not None
    assert 5400.0 < ahead.left_s <= 5400.0 + 4 * 90.0


def test_a_zone_that_this_machine_does_not_know_is_said_and_no_time_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hours = d.Person(from_minute=17 * 60, to_minute=18 * 60)
    monkeypatch.setattr(nights, "PLAN", asked_within(hours, "Atlantis/Capital"))
    page = made(tmp_path).page()
    line, _, _ = page.desk.run(RUN)
    ahead = page.ahead.of(line)
    assert ahead.left_s is None
    assert ahead.left == "not told: this system knows no time zone 'Atlantis/Capital'"
