"""``harness check``: what it prints, in words and as JSON, and how it ends."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from harness.__main__ import main
from harness.errors import Exit
from tests.plan.test_build import EXAMPLE
from tests.plan.words import changed

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden" / "plans"


def asked(*arguments: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    status = main(["check", *arguments], out=out, err=err)
    return status, out.getvalue(), err.getvalue()


@pytest.fixture(autouse=True)
def _no_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is kept on this machine says nothing here."""
    monkeypatch.setenv("HARNESS_STORE", str(tmp_path / "no-store"))


@pytest.fixture
def example(tmp_path: Path) -> str:
    """Return a plan in which nothing is in doubt: a level of 5 % is one rule's too much."""
    path = tmp_path / "two-slots.yaml"
    assert "alpha: 5 %" in EXAMPLE
    path.write_text(EXAMPLE.replace("alpha: 5 %", "alpha: 1 %"), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("zone", ["Mars/Base", "../../etc/passwd", "Europe", "x" * 60])
def test_a_name_that_is_no_time_zone_is_refused(zone: str, tmp_path: Path) -> None:
    path = tmp_path / "zoned.yaml"
    path.write_text(changed(add=f'night: {{start: "22:30", end: "07:00", zone: "{zone}"}}\n'))

    status, out, _ = asked(str(path))

    assert status == Exit.ASKED_WRONGLY
    assert "error[no-such-zone]: night.zone" in out


def test_a_plan_in_order_is_told_in_numbers(example: str) -> None:
    status, out, _ = asked(example, "--json")

    assert status == Exit.WELL
    assert json.loads(out) == {
        "schema": "harness.check/1",
        "ok": True,
        "problems": [],
        "cells": 12,
        "passes": 72,
        "reference_passes": 0,
        "person_steps": 4,
        "seconds": 44720.0,
        "seconds_from": {
            "earlier_passes": 0,
            "titles": {"earlier_passes": 0, "scene_lengths": 1, "time_limits": 1},
        },
        "reusable": None,
        "stale": None,
    }


def test_a_plan_with_errors_has_no_numbers() -> None:
    status, out, _ = asked(str(GOLDEN / "p12_misspelt_key.yaml"), "--json")

    assert status == Exit.ASKED_WRONGLY
    assert json.loads(out) == {
        "schema": "harness.check/1",
        "ok": False,
        "problems": [
            {
                "code": "unknown-key",
                "severity": "error",
                "message": "passes has no key 'warmup'; the nearest is warm_up",
                "line": 12,
                "column": 10,
                "do": "write warm_up",
            }
        ],
        "cells": None,
        "passes": None,
        "reference_passes": None,
        "person_steps": None,
        "seconds": None,
        "seconds_from": None,
        "reusable": None,
        "stale": None,
    }


def test_a_warning_leaves_a_plan_in_order() -> None:
    status, out, _ = asked(str(GOLDEN / "p27_names_collide_case.yaml"), "--json")
    answer = json.loads(out)

    assert (status, answer["ok"]) == (Exit.WELL, True)
    assert [problem["severity"] for problem in answer["problems"]] == ["warning"]


def test_what_a_plan_amounts_to_reads_as_in_its_golden_file(example: str) -> None:
    _, out, _ = asked(example)

    told = out.replace(example, "two-slots.yaml")
    golden = ROOT / "tests" / "golden" / "check" / "two-slots.txt"
    if os.environ.get("UPDATE_GOLDEN"):
        golden.write_text(told, encoding="utf-8")
    assert told == golden.read_text(encoding="utf-8")


def test_problems_are_told_with_their_line_and_what_to_do() -> None:
    path = str(GOLDEN / "p58_two_faults_reported.yaml")
    _, out, _ = asked(path)

    assert out.startswith(
        "error[unit-needed]: titles[1].cut.length needs a unit: '60' has none\n"
        f"  {path}:9:19\n"
        "          cut: {length: 60, tolerance: 5 %}\n"
        "                        ^^\n"
        "  do: write 60 s, 60 min or 60 h\n"
    )
    assert out.endswith(": 2 errors. The plan cannot be carried out as it is.\n")


def test_a_night_is_shown_its_cautions(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    limit = ("limits: none", "limits: [{reading: gpu.temperature, at_most: 92 °C}]")
    path.write_text(changed(limit, add="night: {start: 22:30, end: 07:00}\n"), encoding="utf-8")

    status, out, _ = asked(str(path))

    assert status == Exit.WELL
    assert "smoke alarm" in out


def test_a_night_is_no_problem_and_is_said_to_be_started_by_hand() -> None:
    path = str(GOLDEN / "p50_night_unquoted_times.yaml")
    _, out, _ = asked(path)
    _, as_json, _ = asked(path, "--json")

    assert json.loads(as_json)["problems"] == []
    assert (
        "night: 22:30 to 07:00 (mon tue wed thu fri, Europe/Lisbon) is kept with the plan; "
        "harness queue PLAN lets this rig's daemon start it then\n"
    ) in out


def test_a_store_that_cannot_be_read_keeps_no_plan_from_being_checked(tmp_path: Path) -> None:
    (tmp_path / "records.sqlite").write_text("not a database, and longer than its header" * 9)
    path = str(GOLDEN / "p01_clean.yaml")
    status, out, _ = asked(path, "--store", str(tmp_path))

    assert status == Exit.WELL
    assert out.startswith(
        "warning[history-not-read]: earlier passes are not looked at: this file is not a database\n"
        f"  {tmp_path / 'records.sqlite'}\n"
    )
    assert "is in order, 1 warning." in out


def test_a_plan_is_held_against_the_rig_only_when_that_is_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from harness.commands import sensors
    from harness.rig.sensors import registry
    from harness.rig.sensors.sensors import Sensors
    from harness.rig.sensors.source import Absent

    bare = Absent(where="", names=("cpu.temperature",), why="no processor sensor is shown here")
    monkeypatch.setattr(registry, "machine_sensors", lambda **_: Sensors([bare], now_s=lambda: 0.0))
    monkeypatch.setattr(sensors, "WINDOW_S", 0.0)
    path = str(GOLDEN / "p50_night_unquoted_times.yaml")

    alone = json.loads(asked(path, "--json")[1])
    status, out, _ = asked(path, "--json", "--rig")

    assert alone["problems"] == []
    assert (status, json.loads(out)["ok"]) == (Exit.WELL, True)
    assert [problem["code"] for problem in json.loads(out)["problems"]] == [
        "program-not-here",
        "reading-not-here",
    ]


def test_a_long_plan_is_told_in_a_few_lines(tmp_path: Path) -> None:
    head, title = changed().split("titles:\n")
    title, tail = title.split("passes:")
    many = "".join(title.replace("Lantern Quay", f"Lantern Quay {n}") for n in range(100))
    path = tmp_path / "plan.yaml"
    path.write_text(f"{head}titles:\n{many}passes:{tail}", encoding="utf-8")

    _, out, _ = asked(str(path))

    assert "… and 80 more" in out
    assert len(out.splitlines()) < 40


def test_no_plan_is_a_wrong_question() -> None:
    status, _, err = asked()

    assert status == Exit.ASKED_WRONGLY
    assert err.startswith("error[plan-needed]: no plan is named\n")


def test_a_file_that_is_not_there_is_a_wrong_question() -> None:
    status, _, err = asked("nowhere.yaml")

    assert (status, err) == (
        Exit.ASKED_WRONGLY,
        "error[no-such-plan]: there is no file 'nowhere.yaml'\n  do: look at the path\n",
    )


def test_the_schema_is_printed_as_json() -> None:
    status, out, _ = asked("--schema")

    assert status == Exit.WELL
    assert json.loads(out)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_a_check_imports_nothing_that_it_does_not_need() -> None:
    # Starting fast: none of these is needed to say what is wrong with a plan.
    code = (
        "import sys; from harness.__main__ import main\n"
        f"main(['check', {str(GOLDEN / 'p01_clean.yaml')!r}], out=sys.stderr, err=sys.stderr)\n"
        "print(*sorted(sys.modules))"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True,
        env=os.environ | {"HARNESS_STORE": "no-such-folder"},
    ).stdout.split()  # fmt: skip

    heavy = {"numpy", "pandas", "pyarrow", "scipy", "psutil", "sqlite3", "jsonschema", "asyncio"}
    assert heavy.isdisjoint(loaded)
    assert not any(name.startswith(("harness.store", "harness.summary")) for name in loaded)
    assert {"difflib", "socket", "threading", "http", "harness.plan.build"}.isdisjoint(loaded)


def test_a_plan_without_limits_is_told_whence_it_has_one(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text(changed().replace("limits: none\n", ""), encoding="utf-8")
    given = tmp_path / "given.yaml"
    given.write_text(changed(), encoding="utf-8")
    words = "The plan gives no limits."
    assert ("limits: none" in changed(), words in asked(str(path))[1]) == (True, True)
    assert words not in asked(str(given))[1]


def test_a_persons_hours_are_told_with_the_zone_they_are_in(example: str) -> None:
    def steps(text: str) -> str:
        Path(example).write_text(text, encoding="utf-8")
        _, out, _ = asked(example)
        return next(line for line in out.splitlines() if "a person's steps, in order" in line)

    text = Path(example).read_text(encoding="utf-8")
    hours = 'person: {hours: "08:00-22:00"}\n'
    night = 'night: {start: "23:00", end: "07:00", zone: Europe/Lisbon}\n'
    assert steps(text.replace(hours, "")) == "  a person's steps, in order"
    assert steps(text).endswith("; asked only within 08:00 to 22:00, the rig's own time")
    assert steps(text + night).endswith("; asked only within 08:00 to 22:00, Europe/Lisbon")
