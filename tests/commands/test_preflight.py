"""``harness preflight``, asked as a person does, on the machine the tests run on."""

from __future__ import annotations

import io
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import main
from harness.commands.preflight import observe
from harness.plan import document as d
from harness.rig.hold import Hold
from harness.rig.holds import Holds
from harness.rig.survey import FakeSurveyor
from tests.run.rehearsal import plan

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks at Linux")

PLAN = """\
plan: harbour
{more}
settings: {{fhd: {{size: 1920x1080}}}}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [fhd]
    command: [{program}, "{{size}}"]
    time_limit: 3 min
    frames: {{file: frames.csv, column: frame_ms, unit: ms}}
passes: {{keep: 2}}
limits: none
"""


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(tmp_path / "rig"))
    monkeypatch.setenv("HARNESS_STORE", str(tmp_path / "store"))
    monkeypatch.chdir(tmp_path)


def asked(tmp_path: Path, *, program: str = '"{python}"', more: str = "") -> tuple[int, Any]:
    text = PLAN.format(program=program, more=more)
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    out = io.StringIO()
    status = main(["preflight", "plan.yaml", "--json"], out=out, err=out)
    return status, json.loads(out.getvalue())


def states(shown: Any) -> dict[str, str]:
    return {each["check"]: each["state"] for each in shown["checks"]}


def test_the_rig_is_told_with_its_fingerprint_and_nothing_is_made(tmp_path: Path) -> None:
    _, shown = asked(tmp_path)
    assert states(shown)["programs"] == "met"
    assert "os.build" in shown["fingerprint"]["fields"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan.yaml"]


def test_a_program_that_is_not_there_makes_the_status_three(tmp_path: Path) -> None:
    status, shown = asked(tmp_path, program="no-such-quay")
    assert status == 3
    assert states(shown)["programs"] == "not met"
    [missing] = [each for each in shown["checks"] if each["check"] == "programs"]
    assert (missing["line"], missing["do"] is not None) == (8, True)


def test_a_need_that_is_not_met_makes_the_status_three(tmp_path: Path) -> None:
    more = "rig: {needs: [{reading: disk.free, at_least: 900000 GiB}]}"
    status, shown = asked(tmp_path, more=more)
    assert (status, states(shown)["needs"]) == (3, "not met")


def test_a_hold_that_stands_makes_the_status_three(tmp_path: Path) -> None:
    hold = Hold(id="h1", run="run-1", reason="too hot", do="let it cool", at="2026-03-02")
    Holds(tmp_path / "rig").hold(hold)
    status, shown = asked(tmp_path)
    assert (status, states(shown)["holds"]) == (3, "not met")


def test_a_plan_with_an_error_is_asked_wrongly(tmp_path: Path) -> None:
    status, shown = asked(tmp_path, more="nigth: {}")
    assert status == 2
    assert shown["error"]["code"]


def test_a_night_is_looked_at_to_its_end_and_else_half_a_day(tmp_path: Path) -> None:
    now = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
    night = d.Night(start_minute=1350, end_minute=420, days=("wed",), zone="Europe/Lisbon")
    looking = FakeSurveyor()
    by_night = observe(_with(night), looking, tmp_path, now=now)
    assert by_night.until == datetime(2026, 11, 26, 7, 0, tzinfo=UTC)
    assert (observe(_with(None), looking, tmp_path, now=now).until - now).total_seconds() == 43_200


def test_what_the_run_will_keep_is_told_from_what_passes_took(tmp_path: Path) -> None:
    now = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
    assert observe(_with(None), FakeSurveyor(), tmp_path, now=now).kept_gib.value is None
    kept = tmp_path / "bundles" / "run-1"
    kept.mkdir(parents=True)
    (kept / "a.tar.zst").write_bytes(b"0" * 3000)
    (kept / "b.tar.zst").write_bytes(b"0" * 1000)
    seen = observe(_with(None), FakeSurveyor(), tmp_path, now=now).kept_gib.value
    of = _with(None)
    passes = of.passes.at_most + of.passes.warm_up.passes  # of its one cell
    assert seen == pytest.approx(passes * 2000 / 2**30)


def _with(night: d.Night | None) -> d.Plan:
    from dataclasses import replace

    return replace(plan(), night=night)
