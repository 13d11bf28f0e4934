"""Plan files as the watch reads them: whatever is wrong with one is a reason, in words."""

from __future__ import annotations

from pathlib import Path

from harness.plan.check import check
from harness.plan.document import Plan
from harness.plan.read import read_plan
from harness.watch.reading import PlanFiles
from tests.plan.words import VOCABULARY, changed

LIMITS = ("limits: none", "limits: [{reading: cpu.load, at_most: 100 %}]")


def unzoned(file: str) -> Plan:
    """Read a plan as a rig does whose time zones were taken away after it was checked."""
    return check(read_plan(file), VOCABULARY).accepted()


def test_a_plan_in_a_time_zone_that_is_not_there_is_not_started_and_says_so(
    tmp_path: Path,
) -> None:
    plan = tmp_path / "zoned.yaml"
    night = 'night: {start: "22:30", end: "07:00", zone: Mars/Base}\n'
    plan.write_text(changed(LIMITS, add=night), encoding="utf-8")

    facts = PlanFiles(unzoned).facts(str(plan))

    assert isinstance(facts, str)
    assert "no time zone 'Mars/Base'" in facts
