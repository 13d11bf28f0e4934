"""``harness queue``: what it says of the next start, and what it refuses to keep."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import main
from harness.errors import Exit
from harness.rig.holds import Holds
from harness.rig.locks import RunnerLock
from harness.rig.tasks import Hold
from harness.watch import events as e
from harness.watch.journal import WatchJournal
from tests.plan.words import changed

LIMITS = ("limits: none", "limits: [{reading: cpu.load, at_most: 100 %}]")


@pytest.fixture(autouse=True)
def _own_rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(tmp_path / "rig"))
    monkeypatch.setenv("HARNESS_STORE", str(tmp_path / "store"))


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """Return a plan whose night is open, whenever that is asked."""
    now = datetime.now(UTC)  # noqa: TID251 - the command has the machine's own clock
    start, end = (f"{now + timedelta(hours=hours):%H:%M}" for hours in (-1, 11))
    path = tmp_path / "harbour.yaml"
    night = f'night: {{start: "{start}", end: "{end}", zone: UTC}}\n'
    path.write_text(changed(LIMITS, add=night), encoding="utf-8")
    return path


def told(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    status = main(["queue", *arguments], out=out, err=err)
    return status, out.getvalue(), err.getvalue()


def starts() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(told("--json")[1])["next_starts"]
    return found


def hold(rig: Path) -> None:
    Holds(rig).hold(
        Hold(
            id="quay-1",
            run="quay-1",
            reason="the pump stood still",
            do="look after the pump",
            at="2026-11-25T12:00:00+00:00",
        )
    )


def test_a_plan_whose_night_is_open_starts_now_as_soon_as_a_daemon_watches(plan: Path) -> None:
    _, out, _ = told(str(plan))

    assert f"next start: now, as soon as a daemon watches this rig, {plan}\n" in out
    assert [(each["now"], each["waits"]) for each in starts()][:2] == [(True, None), (False, None)]


def test_a_plan_that_is_to_run_now_starts_now(plan: Path) -> None:
    _, out, _ = told(str(plan), "--at", "now")

    assert f"next start: now, as soon as a daemon watches this rig, {plan}\n" in out


def test_on_a_held_rig_the_next_start_waits_for_the_release(plan: Path, tmp_path: Path) -> None:
    told(str(plan))
    hold(tmp_path / "rig")

    _, out, _ = told("--list")

    why = "the rig is held: the pump stood still"
    assert f"next start: as soon as that is over: {why}, {plan}\n" in out
    assert starts()[0]["waits"] == why


def start(rig: Path, night: datetime) -> None:
    with WatchJournal(rig) as journal, journal.writing():
        at = night.isoformat()
        day = f"{night:%Y-%m-%d}"
        journal.append(
            e.Started(at=at, entry=1, night=day, planned=at, late_s=0.0, boot="quay-boot")
        )


def test_a_plan_whose_runner_is_at_work_is_no_next_start_and_the_other_waits_for_it(
    plan: Path, tmp_path: Path
) -> None:
    second = plan.with_name("quay.yaml")
    second.write_text(plan.read_text(encoding="utf-8"), encoding="utf-8")
    told(str(plan))
    told(str(second))
    begins = datetime.fromisoformat(starts()[0]["at"])
    start(tmp_path / "rig", begins)

    with RunnerLock(tmp_path / "rig", plan=str(plan), now=begins):
        _, out, _ = told("--list")
        found = json.loads(told("--json")[1])

    why = f"the runner of {plan} is at work"
    assert "      its runner is at work\n" in out
    assert f"{why}, {second}\n" in out
    assert f"{why}, {plan}\n" not in out
    assert [each["entry"] for each in found["next_starts"] if each["now"]] == [2]
    assert [each["at_work"] for each in found["entries"]] == [True, False]


def test_a_plan_whose_runner_is_gone_waits_for_the_runner_that_somebody_else_started(
    plan: Path, tmp_path: Path
) -> None:
    told(str(plan))
    begins = datetime.fromisoformat(starts()[0]["at"])
    start(tmp_path / "rig", begins)

    with RunnerLock(tmp_path / "rig", plan="/elsewhere/pier.yaml", now=begins):
        found = json.loads(told("--json")[1])

    assert found["next_starts"][0]["waits"] == "the runner of /elsewhere/pier.yaml is at work"
    assert found["entries"][0]["at_work"] is False


def test_a_plan_in_a_zone_that_nobody_knows_is_not_kept(plan: Path) -> None:
    plan.write_text(plan.read_text().replace("zone: UTC", "zone: Mars/Base"), encoding="utf-8")

    status, _, err = told(str(plan))

    assert status == Exit.ASKED_WRONGLY
    assert "error[no-such-zone]" in err
    assert told("--list")[:2] == (Exit.WELL, "nothing is queued: harness queue PLAN\n")


def test_a_zone_that_is_wrong_since_it_was_queued_is_told_and_breaks_nothing(plan: Path) -> None:
    told(str(plan))
    plan.write_text(plan.read_text().replace("zone: UTC", "zone: Mars/Base"), encoding="utf-8")

    status, out, _ = told("--list")

    assert status == Exit.WELL
    assert "cannot be started: the plan cannot be used: night.zone" in out
