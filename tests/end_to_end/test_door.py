"""A person at the door: steps confirmed, holds released, results and traces asked for."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import statistics
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from harness.errors import StoreError
from harness.rig.locks import RunnerLock
from harness.run import records as r
from harness.store.sqlite import open_store
from tests.end_to_end.runs import Place

pytestmark = pytest.mark.slow


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    with Place(tmp_path) as found:
        yield found


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A plan that was carried out once, for tests that only look."""
    place = Place(tmp_path_factory.mktemp("done"))
    status, out, err = place.harness("run", "plan.yaml")
    assert status == 0, out + err
    return place


def test_results_agree_with_figures_worked_out_from_the_kept_captures(done: Place) -> None:
    """The reference is numpy: frames over total time, and its type 7 ("linear") quantile."""
    shown = done.json("results")
    assert shown["schema"] == "harness.results/1"
    with open_store(done.store, write=False) as store:
        run = store.runs()[0].run
        entries = [entry.record for entry in store.entries(run)]
        closed = {x.cell: x.kept for x in entries if isinstance(x, r.CellClosed)}
        for cell in shown["cells"]:
            averages, lows = [], []
            for record in entries:
                if not isinstance(record, r.PassEnded) or record.cell != cell["cell"]:
                    continue
                if record.attempt not in closed[record.cell]:
                    continue
                assert record.bundle is not None
                with store.open_member(record.bundle, "captures/frames.csv") as text:
                    rows = text.read().decode("ascii").splitlines()[1:]
                times_ms = np.array([float(row.split(",")[1]) for row in rows])
                averages.append(len(times_ms) / times_ms.sum() * 1000)
                lows.append(1000 / np.quantile(times_ms, 0.99))
            average = cell["figures"]["average_fps"]
            assert average["n"] == 2
            assert average["mean"] == pytest.approx(statistics.fmean(averages), rel=1e-9)
            assert average["sd"] == pytest.approx(statistics.stdev(averages), rel=1e-9)
            low = cell["figures"]["low_1pct_fps"]
            if low["mean"] is not None:
                assert low["mean"] == pytest.approx(statistics.fmean(lows), rel=1e-9)


def test_the_results_table_names_units_definitions_and_passes_by_verdict(done: Place) -> None:
    status, out, _ = done.harness("results")
    assert status == 0
    assert "frames-over-time/1" in out
    assert "percentile/1" in out
    assert " fps" in out
    assert "2 kept, 1 warm-up" in out


def test_a_selection_that_no_cell_has_is_refused_with_what_there_is(done: Place) -> None:
    status, _, err = done.harness("results", "--where", "mode=plane")
    assert status == 2
    assert "plain" in err


def test_a_trace_goes_down_to_the_hash_of_the_capture(done: Place) -> None:
    cell = done.json("results")["cells"][0]["cell"]
    status, out, _ = done.harness("trace", f"{cell}-002")
    assert status == 0
    assert "captures/frames.csv" in out
    assert "SHA-256" in out
    kinds = [record["kind"] for record in done.json("trace", cell)["records"]]
    assert kinds.count("pass-judged") == 3
    assert kinds[-1] == "cell-closed"


def test_a_trace_of_a_failed_pass_shows_what_its_command_printed_last(place: Place) -> None:
    path = place.folder / "plan.yaml"
    broken = '["{python}", -c, "import sys; print(7 * 6); sys.exit(3)", "{mode}"]'
    text = path.read_text()
    start = text.index("command: [")
    path.write_text(text[: start + 9] + broken + text[text.index("\n", start) :])
    assert place.harness("run", "plan.yaml")[0] == 1
    cell = place.json("results")["cells"][0]["cell"]
    status, out, _ = place.harness("trace", f"{cell}-001")
    assert status == 0
    assert "exited with status 3" in out
    assert "output/stdout, the last 1 of 1 lines:\n          42\n" in out


def test_status_says_that_a_plan_is_finished(done: Place) -> None:
    (line,) = done.json("status")["runs"]
    assert line["phase"] == "finished"
    assert line["cells"]["accepted"] == 2


#: A confirmation of a step that opened the case.
BY_ANA = ("--by", "Ana", "--attending")
STEPS = """\
conditions:
  slot:
    by: operator
    opens_case: true
    levels:
      upper: {say: "Card in the upper slot."}
      lower: {say: "Card in the lower slot."}
"""


def test_a_step_is_shown_with_its_cautions_and_confirmed_from_another_terminal(
    place: Place,
) -> None:
    text = (place.folder / "plan.yaml").read_text()
    start, end = text.index("conditions:"), text.index("settings:")
    plan = text[:start] + STEPS + text[end:].replace('"{mode}"', '"{slot}"')
    (place.folder / "plan.yaml").write_text(plan)
    runner = place.start("run", "plan.yaml")
    for step in (1, 2):
        wait_for_step(place, step)
        standing = place.json("status")
        assert standing["runner"]["run"] == standing["runs"][0]["run"]
        assert standing["runner"]["store"] == str(place.store)
        status, out, err = place.harness("confirm", "--step", str(step), *BY_ANA)
        assert status == 0, out + err
    out, err = runner.communicate(timeout=60)
    assert runner.returncode == 0, out + err
    assert "Card in the upper slot." in out
    (run,) = place.json("status")["runs"]
    assert f"--by YOUR-NAME --attending --run {run['run']} --store {place.store}\n" in out
    assert "unplug" in out
    confirmed = [x.record for x in place.entries() if isinstance(x.record, r.StepConfirmed)]
    assert [each.by for each in confirmed] == ["Ana", "Ana"]


def wait_for_step(place: Place, step: int) -> None:
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        with contextlib.suppress(StoreError):  # the runner is just making it
            asked = [x.record for x in place.entries() if isinstance(x.record, r.StepAsked)]
            if any(each.step == step for each in asked):
                return
        time.sleep(0.1)
    raise AssertionError(f"step {step} was never asked")


def test_a_step_confirmed_with_no_runner_at_work_is_kept_and_the_run_goes_on(place: Place) -> None:
    text = (place.folder / "plan.yaml").read_text()
    start, end = text.index("conditions:"), text.index("settings:")
    one = STEPS.replace('      lower: {say: "Card in the lower slot."}\n', "")
    (place.folder / "plan.yaml").write_text(
        text[:start] + one + text[end:].replace('"{mode}"', '"{slot}"')
    )
    runner = place.start("run", "plan.yaml")
    wait_for_step(place, 1)
    os.kill(runner.pid, signal.SIGINT)
    out, err = runner.communicate(timeout=20)
    assert runner.returncode == 5, out + err
    assert "Card in the upper slot." in out
    (line,) = place.json("status")["runs"]
    kept = f"--run {line['run']} --store {place.store}"
    confirm = f"harness confirm --step 1 --by YOUR-NAME --attending {kept}"
    assert f"  when done:    {confirm}" in out.splitlines()
    assert line["interrupted"] is False
    status, out, err = place.harness("confirm", *BY_ANA)
    assert status == 0, out + err
    assert any(isinstance(x.record, r.StepConfirmed) for x in place.entries())
    (line,) = place.json("status")["runs"]
    assert (line["phase"], line["interrupted"]) == ("idle", False)
    assert "goes on with the same harness run" in place.harness("status")[1]


def left_at_a_step(place: Place) -> str:
    """Leave a run of the plan while its first step is open; return its name."""
    text = (place.folder / "plan.yaml").read_text()
    start, end = text.index("conditions:"), text.index("settings:")
    (place.folder / "plan.yaml").write_text(
        text[:start] + STEPS + text[end:].replace('"{mode}"', '"{slot}"')
    )
    runner = place.start("run", "plan.yaml")
    wait_for_step(place, 1)
    os.kill(runner.pid, signal.SIGINT)
    out, err = runner.communicate(timeout=20)
    assert runner.returncode == 5, out + err
    (line,) = place.json("status")["runs"]
    run: str = line["run"]
    return run


def requests(place: Place, run: str) -> tuple[r.Request, ...]:
    with open_store(place.store, write=False) as store:
        return store.requests(run)


def test_while_the_rig_is_busy_with_another_run_a_confirmation_is_kept_and_says_so(
    place: Place,
) -> None:
    run = left_at_a_step(place)
    other = place.folder / "other"
    other.mkdir()
    with RunnerLock(place.folder / "rig", plan="night.yaml", now=datetime.now(UTC)) as lock:
        lock.note(run=run, store=other)  # of the same name, in another store
        status, out, err = place.harness("confirm", *BY_ANA)
        again, twice, _ = place.harness("confirm", *BY_ANA)
        shown = place.json("confirm", *BY_ANA)
    assert status == 0, out + err
    assert out == (
        f"run {run}: kept; the rig is busy with run {run}, store {other} (plan night.yaml, "
        f"process {os.getpid()}); answered by the next "
        f"`harness run {place.folder / 'plan.yaml'} --store {place.store}`\n"
    )
    assert shown["accepted"] is None
    assert "the rig is busy with run" in shown["answer"]
    assert again == 0
    assert twice.startswith(
        f"run {run}: step 1 is confirmed already, by Ana: kept; the rig is busy"
    )
    assert [(each.by, each.step) for each in requests(place, run)] == [("Ana", 1)]


def test_a_kept_confirmation_is_answered_by_the_next_start_of_the_plan(place: Place) -> None:
    run = left_at_a_step(place)
    with RunnerLock(place.folder / "rig", plan="night.yaml", now=datetime.now(UTC)) as lock:
        lock.note(run="night-1", store=place.store)
        assert place.harness("confirm", *BY_ANA)[0] == 0
    runner = place.start("run", "plan.yaml")
    wait_for_step(place, 2)
    os.kill(runner.pid, signal.SIGINT)
    runner.communicate(timeout=20)
    confirmed = [x.record for x in place.entries(run) if isinstance(x.record, r.StepConfirmed)]
    assert [(each.step, each.by, each.attending) for each in confirmed] == [(1, "Ana", True)]


@pytest.mark.parametrize("named", [True, False])
def test_a_run_with_no_open_step_is_refused_and_nothing_is_put_to_it(
    done: Place, named: bool
) -> None:
    (line,) = done.json("status")["runs"]
    run = ("--run", line["run"]) if named else ()
    status, _, err = done.harness("confirm", "--by", "Ana", *run)
    assert status == 2
    assert "error[no-open-step]" in err
    assert not named or f"run {line['run']}: it is finished" in err
    assert requests(done, line["run"]) == ()


def test_a_step_that_opened_the_case_is_not_confirmed_by_somebody_who_goes_away(
    place: Place,
) -> None:
    run = left_at_a_step(place)
    status, _, err = place.harness("confirm", "--by", "Ana")
    assert status == 2
    assert "error[not-attended]: the step opens the case" in err
    assert "Stay with the rig until the first pass after it is over" in err
    hint = "harness confirm --step 1 --by YOUR-NAME --attending"
    assert f"{hint} --run {run} --store {place.store};" in err
    assert requests(place, run) == ()


def test_another_step_than_the_open_one_is_refused_and_nothing_is_put(place: Place) -> None:
    run = left_at_a_step(place)
    status, _, err = place.harness("confirm", "--step", "2", "--by", "Ana")
    assert status == 2
    assert "error[no-open-step]: step 2 is not open" in err
    assert "step 1 is open" in err
    assert requests(place, run) == ()


def test_status_after_a_killed_runner_says_interrupted_until_the_plan_goes_on(
    place: Place,
) -> None:
    carry_out = "harness.rig.bench:RealBench.carry_out/before"
    status, out, err = place.harness("run", "plan.yaml", killed=(carry_out, 1))
    assert status == -signal.SIGKILL, out + err
    (line,) = place.json("status")["runs"]
    assert (line["phase"], line["interrupted"]) == ("pass", True)
    _, out, _ = place.harness("status")
    assert "in progress" not in out
    cell = line["pass_in_progress"]["cell"]
    assert (
        f"interrupted in a pass (cell {cell}, attempt 1); the same `harness run` goes on\n" in out
    )
    with RunnerLock(place.folder / "rig", plan="plan.yaml", now=datetime.now(UTC)) as lock:
        (just_come_up,) = place.json("status")["runs"]
        lock.note(run=line["run"], store=place.store)
        (at_work,) = place.json("status")["runs"]
        lock.note(run="night-1", store=place.store)
        (busy_with_another,) = place.json("status")["runs"]
    seen = (just_come_up, at_work, busy_with_another)
    assert [each["interrupted"] for each in seen] == [None, False, True]
    assert place.harness("run", "plan.yaml")[0] == 0
    (line,) = place.json("status")["runs"]
    assert line["interrupted"] is False


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_an_attempt_that_is_not_there_is_refused_with_those_there_are(
    done: Place, form: tuple[str, ...]
) -> None:
    cell = done.json("results")["cells"][0]["cell"]
    status, out, err = done.harness("trace", f"{cell}-99", *form)
    assert status == 2
    assert "no-such-attempt" in out + err
    assert f"attempts: {cell}-001, {cell}-002, {cell}-003" in out + err


def test_a_held_rig_refuses_every_plan_until_it_is_released(place: Place) -> None:
    broken = (place.folder / "plan.yaml").read_text().replace('"{python}"', "no-such-title")
    broken += "faults: {again: 0, then: hold}\n"
    (place.folder / "broken.yaml").write_text(broken.replace("small hours", "broken"))
    status, out, err = place.harness("run", "broken.yaml")
    assert status == 3, out + err
    assert "THE RIG IS HELD" in out
    status, _, err = place.harness("run", "plan.yaml")
    assert status == 3
    assert "rig-held" in err
    assert "no-such-title" in err
    (hold,) = place.json("status")["holds"]
    status, out, err = place.harness("release", hold["id"], "--by", "Ana", "--note", "installed")
    assert status == 0, out + err
    assert place.harness("run", "plan.yaml")[0] == 0


def test_a_reading_the_rig_does_not_have_refuses_the_run_before_its_first_pass(
    place: Place,
) -> None:
    place.write("gates: [{reading: room.temperature, at_most: 30 °C, give_up: 1 min, then: mark}]")
    status, _, err = place.harness("run", "plan.yaml")
    assert status == 3
    assert "reading-not-measured" in err
    assert "room.temperature" in err
    assert not place.log.exists()


def test_a_plan_without_limits_is_refused_where_no_threshold_can_be_read(place: Place) -> None:
    path = place.folder / "plan.yaml"
    path.write_text(path.read_text().replace("limits: none\n", ""))
    status, _, err = place.harness("run", "plan.yaml")
    assert status == 3
    assert "limits: none" in err


def test_an_error_with_json_is_one_object_on_the_output(place: Place) -> None:
    status, out, _ = place.harness("run", "nowhere.yaml", "--json")
    assert status == 2
    assert json.loads(out)["error"]["code"] == "no-such-plan"
