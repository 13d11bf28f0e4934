"""The line that says what becomes of a plan's night."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.views.nights import hours_words, night_line
from tests.end_to_end.runs import Place

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
REST = " is kept with the plan; harness queue PLAN lets this rig's daemon start it then"


def test_days_and_zone_are_named_where_they_say_something() -> None:
    line = night_line(start=1350, end=420, days=("sun", "sat"), zone="Europe/Lisbon")

    assert line == "night: 22:30 to 07:00 (sat sun, Europe/Lisbon)" + REST


def test_a_night_of_every_day_names_none() -> None:
    assert night_line(start=5, end=420, days=WEEK, zone="") == "night: 00:05 to 07:00" + REST


def test_a_persons_hours_name_the_zone_they_are_in() -> None:
    asked = {"start": 8 * 60, "end": 22 * 60}
    assert hours_words(**asked, zone="Europe/Lisbon") == "08:00 to 22:00, Europe/Lisbon"
    assert hours_words(**asked, zone="") == "08:00 to 22:00, the rig's own time"


@pytest.mark.slow
def test_a_run_says_it_before_anything_is_started(tmp_path: Path) -> None:
    place = Place(tmp_path)
    path = tmp_path / "plan.yaml"
    limits = "limits: [{reading: memory.available, at_least: 0.01 GiB}]\n"
    night = "night: {start: 22:30, end: 07:00}\n"
    text = path.read_text(encoding="utf-8").replace("limits: none\n", limits + night)
    path.write_text(text, encoding="utf-8")

    status, out, err = place.harness("run", "plan.yaml")

    assert status == 0, out + err
    assert out.splitlines()[0] == "night: 22:30 to 07:00" + REST
