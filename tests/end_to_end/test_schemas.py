"""``--json`` of every command has exactly the fields that harness/views/schemas.md says.

Real commands, each asked in the situations that bring its fields out: a plan in order and one
that is not, a run finished and one held, a step open and a pass in progress, a capture that is
sound and one that is refused.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import COMMANDS
from harness.rig.locks import RunnerLock
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.store.sqlite import open_store
from tests.end_to_end.runs import Place
from tests.end_to_end.test_door import BY_ANA, STEPS, wait_for_step
from tests.store import examples
from tests.summary import over_nights

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "harness" / "views" / "schemas.md").read_text(encoding="utf-8")
CAPTURES = ROOT / "tests" / "golden" / "captures"
PLANS = ROOT / "tests" / "golden" / "plans"

#: Kept records: their fields are those of their own classes.
AS_KEPT = ("records[].body", "runs[].waits", "kept[].asked", "comparisons[]")

#: What ``figures`` adds to the error of a capture, in words above its table.
OF_CAPTURES = {"errors[].verdict", "errors[].frames", "notes"}


def documented(heading: str) -> set[str]:
    """Return the fields in the table of one section."""
    [section] = re.findall(rf"^## {heading}$(.*?)(?=^## |\Z)", TEXT, flags=re.M | re.S)
    return set(re.findall(r"^\| `([^`]+)` \|", section, flags=re.M))


def paths(value: Any, wanted: set[str], at: str = "") -> Iterator[str]:
    """Yield the path of every field of *value*, names taken for NAME where *wanted* does."""
    if isinstance(value, list):
        for item in value:
            yield from paths(item, wanted, f"{at}[]")
        return
    if not isinstance(value, dict) or at in AS_KEPT:
        return
    for key, item in value.items():
        path = f"{at}.{key}".lstrip(".")
        if f"{at}.NAME" in wanted:
            path = f"{at}.NAME"
        yield path
        yield from paths(item, wanted, path)


def assert_as_documented(heading: str, *answers: dict[str, Any]) -> None:
    wanted = documented(heading)
    found = {path for answer in answers for path in paths(answer, wanted)}
    assert found == wanted


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A plan that was carried out once."""
    place = Place(tmp_path_factory.mktemp("done"))
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    return place


def test_every_command_has_its_section() -> None:
    assert set(re.findall(r"^## harness\.(\w+)/\d+$", TEXT, flags=re.M)) == set(COMMANDS)


def test_every_schema_is_named_in_its_own_table() -> None:
    for name in COMMANDS:
        assert "schema" in documented(f"harness.{name}/1")


def test_every_example_is_json_of_documented_fields() -> None:
    for block in re.findall(r"^```json\n(.*?)^```", TEXT, flags=re.M | re.S):
        shown = json.loads(block)
        if "schema" in shown:
            wanted = documented(shown["schema"])
            assert set(paths(shown, wanted)) - wanted == set()


def test_check(done: Place) -> None:
    good = done.json("check", "plan.yaml")
    bad = done.json("check", str(PLANS / "p12_misspelt_key.yaml"))

    assert good["seconds_from"]["earlier_passes"] > 0
    assert good.keys() == bad.keys()
    wanted = documented("harness.check/1")
    # Stale cells stand only where a plan extends another: test_reuse holds them to the table.
    unseen = {path for path in wanted if path.startswith("stale[]")}
    assert {path for each in (good, bad) for path in paths(each, wanted)} == wanted - unseen


@pytest.mark.slow
def test_run_status_release_and_confirm(tmp_path: Path) -> None:
    place = Place(tmp_path)
    text = (place.folder / "plan.yaml").read_text(encoding="utf-8")
    start = text.index("    command:")
    end = text.index("    time_limit:")
    failing = '    command: ["{python}", -c, "raise SystemExit(3)", "{mode}"]\n'
    text = text[:start] + failing + text[end:] + "faults: {again: 0, then: hold}\n"
    (place.folder / "plan.yaml").write_text(text, encoding="utf-8")

    held = place.json("run", "plan.yaml")
    standing = place.json("status")
    released = place.json("release", "--by", "Ana")

    assert held["outcome"] == "held"
    assert [hold["id"] for hold in standing["holds"]] == [held["hold"]["id"]]
    assert_as_documented("harness.run/1", held)
    assert_as_documented("harness.release/1", released)
    with open_store(tmp_path / "measuring", write=True) as store:
        journal = store.create_run(
            "two-slots-1", plan_name="two-slots", plan_hash="9f" * 32, rig="bench-3", cells=2,
            at=datetime(2026, 11, 2, 22, 30, tzinfo=UTC),
        )  # fmt: skip
        again = r.CellReopened(cell=examples.CELL, superseded=(1, 2), by="Ana", reason="odd")
        store.put_request(
            "two-slots-1", r.RequestKind.RERUN, by="Ana", at=examples.AT, cells=(examples.CELL,)
        )
        journal.append(
            [*examples.BEGINNING, again, examples.started(3)], at=examples.AT, boot=examples.BOOT
        )
    measuring = place.json("status", "--store", str(tmp_path / "measuring"))
    with_runner = a_step_is_confirmed(tmp_path / "steps")
    with RunnerLock(place.folder / "rig", plan="plan.yaml", now=examples.AT) as lock:
        gate = {
            "reading": "gpu.temperature", "bound": "at most 46 °C", "unit": "°C", "value": 51.0,
            "why": None, "met": False, "opens_at": "2026-11-02T23:03:00+00:00",
        }  # fmt: skip
        instant = examples.AT.isoformat()
        lock.tell({"since": instant, "at": instant, "gates": [gate], "person_from": None})
        at_gate = place.json("status")
    assert at_gate["runner"]["waits"]["gates"] == [gate]
    assert_as_documented("harness.status/1", standing, measuring, with_runner, at_gate)


def a_step_is_confirmed(folder: Path) -> dict[str, Any]:
    """Try ``confirm`` on a run whose step is open; return what ``status`` said meanwhile."""
    folder.mkdir()
    place = Place(folder)
    text = (place.folder / "plan.yaml").read_text(encoding="utf-8")
    start, end = text.index("conditions:"), text.index("settings:")
    plan = text[:start] + STEPS + text[end:].replace('"{mode}"', '"{slot}"')
    (place.folder / "plan.yaml").write_text(plan, encoding="utf-8")
    runner = place.start("run", "plan.yaml")
    try:
        wait_for_step(place, 1)
        standing: dict[str, Any] = place.json("status")
        assert_as_documented("harness.confirm/1", place.json("confirm", *BY_ANA))
    finally:
        runner.terminate()
        runner.communicate(timeout=60)
    return standing


def test_results(done: Place) -> None:
    shown = done.json("results", "--where", "title=Copper Fen")
    wanted = documented("harness.results/1")

    # Marks stand only where a gate gave up; what they hold is held by tests/summary.
    # What a rerun superseded stands there after one; test_rerun_recompute_and_verify has it.
    unseen = {"cells[].marks[].attempt", "cells[].marks[].mark"}
    unseen |= {path for path in wanted if path.startswith("cells[].superseded[]")}
    # A cell that was taken over says from where: test_reuse holds it to the table.
    unseen |= {path for path in wanted if path.startswith("cells[].reused.")}
    # A cell that is unlike its history: test_results_beside_earlier_nights. Lost passes: there.
    unseen |= {path for path in wanted if path.startswith(("unlike_history[]", "lost[]"))}
    # Twenty passes in cells of four, and rules that may discard: tests/summary/test_signs.py.
    unseen |= {path for path in wanted if path.startswith(("following.", "frequent."))}
    # Facts and what they cost: tests/views/test_costs.py.
    unseen |= {path for path in wanted if path.startswith(("facts.", "costs[]"))}
    assert set(paths(shown, wanted)) | unseen == wanted


def test_results_beside_earlier_nights(tmp_path: Path) -> None:
    nights = over_nights.nights_of([[60.0, 60.1], [60.1, 60.0], [60.0, 60.2]], reference=False)
    last = over_nights.entries(
        over_nights.counted([30.0, 30.1]),
        run="last",
        at=over_nights.FIRST_NIGHT + timedelta(days=9),
    )
    cell = over_nights.UHD
    void = r.PassJudged(
        cell=cell, attempt=1, verdict=Verdict.VOID, reason="no frames", fault="no-capture"
    )
    last = [
        replace(entry, record=void)
        if isinstance(entry.record, r.PassJudged) and entry.record.attempt == 1
        else entry
        for entry in last
    ]
    store = str(over_nights.keep(tmp_path / "store", [*nights, last]))
    status, out, _ = Place(tmp_path).harness("results", "--store", store, "--json")
    answer = json.loads(out)

    assert status == 0
    wanted = documented("harness.results/1")
    for part in ("unlike_history", "lost"):
        (one,) = answer[part]
        documented_here = {path for path in wanted if path.startswith(f"{part}[].")}
        assert {f"{part}[].{name}" for name in one} == documented_here


def test_compare_and_ceilings(done: Place) -> None:
    # What a plain comparison has no use for is brought out in tests/views.
    compared = done.json("compare", "--base", "mode=plain", "--against", "mode=other")
    wanted = documented("harness.compare/1")
    tops = done.json("ceilings", "--condition", "mode")
    wanted_tops = documented("harness.ceilings/1")

    assert len(compared["rows"]) == 1
    assert set(paths(compared, wanted)) <= wanted
    assert set(paths(tops, wanted_tops)) <= wanted_tops
    assert tops["titles"] == []  # one setting shows no ceiling


def test_drift(done: Place, tmp_path: Path) -> None:
    nights = over_nights.nights_of([[100.0, 100.2, 99.9, 100.1] for _ in range(5)])
    steps = [
        *over_nights.references([100.0]),
        *over_nights.counted([60.0]),
        *over_nights.references([90.0, 90.1]),
    ]
    changes = {1: {"gpu.driver": "575.01"}}
    last = over_nights.entries(
        steps, run="last", at=over_nights.FIRST_NIGHT + timedelta(days=9), changes=changes
    )
    store = str(over_nights.keep(tmp_path / "store", [*nights, last]))
    of_cells = done.json("drift", "--where", "title=Copper Fen")  # which has a condition

    assert_as_documented("harness.drift/1", done.json("drift", "--store", store), of_cells)


def test_precision(done: Place, tmp_path: Path) -> None:
    def on(rig: str, night: int, value: float, **more: Any) -> Any:
        at = over_nights.FIRST_NIGHT + timedelta(days=night)
        fields = over_nights.FINGERPRINT | {"board.model": rig}
        values = over_nights.counted([value, value + 0.2, value - 0.2])
        return over_nights.entries(
            values, run=f"{rig}-{night}", rig=rig, at=at, fields=fields, **more
        )

    means = (60.0, 60.1, 59.9, 60.2, 60.0, 60.1, 70.0)
    many = [on(f"rig-{n}", night, value) for n, value in enumerate(means) for night in (0, 1)]
    other = over_nights.plan(argument="--other")
    few = [on("north-2", 0, 60.0), on("south-1", 0, 60.0, of=other)]
    stores = [over_nights.keep(tmp_path / name, runs) for name, runs in (("m", many), ("f", few))]
    answers = [
        done.json("precision", "--store", str(store), "--despite", "they are alike")
        for store in stores
    ]

    # The run that was carried out has one night, and nothing else has a condition.
    assert_as_documented(
        "harness.precision/1", *answers, {"cells": [{"conditions": {"mode": "plain"}}]}
    )


def test_trace(done: Place) -> None:
    listed = done.json("trace")
    whole = done.json("trace", listed["cells"][0]["cell"])

    assert_as_documented("harness.trace/1", listed, whole)


def test_rehearse(tmp_path: Path) -> None:
    place = Place(tmp_path)
    text = (place.folder / "plan.yaml").read_text(encoding="utf-8")
    start, end = text.index("conditions:"), text.index("settings:")
    plan = text[:start] + STEPS + text[end:].replace('"{mode}"', '"{slot}"')
    hot = "gates: [{reading: gpu.temperature, at_least: 95 °C, give_up: 1 min, then: hold}]\n"
    (place.folder / "plan.yaml").write_text(plan + hot, encoding="utf-8")
    held = place.json("rehearse", "plan.yaml", "--from", "22:30")
    (place.folder / "plan.yaml").write_text(plan, encoding="utf-8")
    whole = place.json("rehearse", "plan.yaml")

    assert not place.store.exists()
    assert whole["left_over"] == 0
    assert whole["finish"] is not None
    assert held["finish"] is None
    assert_as_documented("harness.rehearse/1", held, whole)


@pytest.mark.slow
def test_rerun_recompute_and_verify(tmp_path: Path) -> None:
    place = Place(tmp_path)
    place.harness("run", "plan.yaml")
    run = place.json("status")["runs"][0]["run"]
    key = place.json("trace")["cells"][0]["cell"]

    assert_as_documented(
        "harness.rerun/1", place.json("rerun", run, "--cell", key, "--because", "odd")
    )
    superseded = place.json("results")["cells"][0]["superseded"]
    assert [each["attempts"] for each in superseded] == [[1, 2, 3]]
    fields = {f"cells[].superseded[].{name}" for name in superseded[0]}
    assert fields <= documented("harness.results/1")

    bundle = next(path for path in sorted(place.store.rglob("*-005.*.tar.zst")))
    bundle.write_bytes(b"not a bundle any more")
    again = place.json("recompute", run, "--low", "slowest-time")
    wanted = documented("harness.recompute/1")
    unseen = {path for path in wanted if path.startswith(("cells[].changed[]", "taken[]"))}
    assert set(paths(again, wanted)) | unseen == wanted
    assert Path(again["file"]).exists()

    found = place.json("verify")
    assert (found["ok"], found["problems"][0]["code"]) == (False, "bundle-damaged")
    assert_as_documented("harness.verify/1", found)


def test_figures_of_a_sound_capture_and_of_one_that_is_refused(done: Place) -> None:
    column = ("--column", "frame_ms", "--unit", "ms")
    capped = done.json("figures", str(CAPTURES / "70_capped_flat.csv"), *column)
    spikes = str(CAPTURES / "75_spikes_for_low_figures.csv")  # frames enough for a tail
    within = done.json("figures", spikes, *column, "--within")
    refused = done.json("figures", str(CAPTURES / "51_negative.csv"), *column)

    assert_as_documented("harness.figures/1", capped, within)
    assert "within" not in capped
    of_errors = documented("Errors") | OF_CAPTURES
    assert {
        path for path in paths(refused, of_errors) if not path.startswith("error.")
    } == of_errors
    for field in ("errors[].verdict", "errors[].frames", "notes"):
        assert f"`{field}`" in TEXT


def test_preflight(done: Place) -> None:
    assert_as_documented("harness.preflight/1", done.json("preflight", "plan.yaml"))


def test_sensors(done: Place) -> None:
    assert_as_documented("harness.sensors/1", done.json("sensors"))


@pytest.mark.slow
def test_daemon_queue_and_service(tmp_path: Path) -> None:
    place = Place(tmp_path)
    plan = tmp_path / "plan.yaml"
    limits = "limits: [{reading: memory.available, at_least: 0.001 GiB}]"
    plan.write_text(plan.read_text(encoding="utf-8").replace("limits: none", limits))

    queued = place.json("queue", "plan.yaml", "--at", "2099-01-01 22:30")
    removed = place.json("queue", "--remove", "1")
    place.harness("queue", "plan.yaml", "--at", "now")
    left = place.json("daemon", "--once")

    assert removed["entries"] == []
    assert_as_documented("harness.queue/1", queued)
    assert_as_documented("harness.daemon/1", left)
    for what in ("install", "remove"):
        assert_as_documented("harness.service/1", place.json("service", what))


def test_an_error_has_one_shape_whatever_the_command() -> None:
    answers = []
    for arguments in (["runn"], ["check", "nowhere.yaml"], ["results", "--store", "nowhere"]):
        done = subprocess.run(
            [sys.executable, "-m", "harness", *arguments, "--json"],
            cwd=ROOT, capture_output=True, check=False, encoding="utf-8", env=os.environ,
        )  # fmt: skip
        answers.append(json.loads(done.stdout))
        assert answers[-1]["error"] == answers[-1]["errors"][0]
    for answer in answers:
        del answer["error"]
        answer["error"] = None

    assert_as_documented("Errors", *answers)
