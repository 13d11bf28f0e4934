from __future__ import annotations

import json
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest

from harness.errors import AskedError
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.store.sqlite import open_store
from harness.store.standing import CellStanding, RunStanding
from tests.store.examples import AT, BEGINNING, BOOT, CELL, OTHER, ended, judged, started

RUN = "two-slots-1"


def standing(folder: Path, *records: r.Record) -> tuple[RunStanding, dict[str, CellStanding]]:
    """Keep *records*, one a minute; return where everything stands, read by somebody else."""
    with open_store(folder, write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        for minute, record in enumerate(records):
            journal.append((record,), at=AT + timedelta(minutes=minute), boot=BOOT)
    with open_store(folder, write=False) as store:
        return store.run(RUN).standing, {cell.cell: cell for cell in store.cells(RUN)}


def test_a_run_without_records_is_new(tmp_path: Path) -> None:
    run, cells = standing(tmp_path)
    assert run == RunStanding()
    assert cells == {}


def test_a_pass_in_progress_is_named_with_its_start(tmp_path: Path) -> None:
    run, cells = standing(tmp_path, *BEGINNING, started(1, warm_up=True))
    assert (run.phase, run.cell, run.attempt, run.warm_up) == ("pass", CELL, 1, True)
    assert run.since == "2026-11-02T22:35:00.125000Z"
    assert cells[CELL].attempts == 1


def test_passes_are_counted_by_verdict(tmp_path: Path) -> None:
    verdicts = [Verdict.KEPT, Verdict.VOID, Verdict.FAILED, Verdict.INTERRUPTED, Verdict.KEPT]
    passes: list[r.Record] = []
    for attempt, verdict in enumerate(verdicts, 1):
        passes += [started(attempt), ended(attempt), judged(attempt, verdict)]
    run, cells = standing(tmp_path, *BEGINNING, *passes)
    assert cells[CELL] == CellStanding(
        cell=CELL, group=1, attempts=5, kept=2, void=1, failed=1, interrupted=1
    )
    assert (run.phase, run.passes, run.cell) == ("idle", 5, None)


def test_a_warm_up_is_counted_apart_whatever_came_of_it(tmp_path: Path) -> None:
    passes = (started(1, warm_up=True), ended(1), judged(1, Verdict.FAILED))
    run, cells = standing(tmp_path, *BEGINNING, *passes)
    assert (cells[CELL].warm_up, cells[CELL].failed, run.passes) == (1, 0, 0)


def test_a_skipped_pass_is_a_failed_one(tmp_path: Path) -> None:
    skipped = r.PassSkipped(
        cell=CELL, attempt=1, warm_up=False, group=1, fault="gate", reason="too warm"
    )
    run, cells = standing(tmp_path, *BEGINNING, skipped)
    assert (cells[CELL].failed, cells[CELL].attempts, run.passes) == (1, 1, 1)


@pytest.mark.parametrize(("discarded", "kept"), [(True, 0), (False, 1)])
def test_a_discard_takes_a_kept_pass_and_a_mark_does_not(
    tmp_path: Path, discarded: bool, kept: int
) -> None:
    found = r.PassDiscarded(
        cell=CELL,
        attempt=1,
        rule="spread/1",
        on="average_fps",
        statistic=0.05,
        critical=0.03,
        passes=3,
        discarded=discarded,
        reason="5 % from the others",
    )
    _, cells = standing(tmp_path, *BEGINNING, started(1), ended(1), judged(1), found)
    assert (cells[CELL].kept, cells[CELL].discarded) == (kept, 1 - kept)


def test_closed_cells_are_counted_and_a_reopened_one_begins_anew(tmp_path: Path) -> None:
    closed = [
        r.CellClosed(cell=CELL, state=r.CellState.ACCEPTED, group=1, kept=(1,), reason=""),
        r.CellClosed(cell=OTHER, state=r.CellState.SHORT, group=1, kept=(), reason=""),
    ]
    before = (*BEGINNING, started(1), ended(1), judged(1), *closed)
    run, cells = standing(tmp_path / "before", *before)
    assert (run.accepted, run.short, run.failed) == (1, 1, 0)
    assert (cells[CELL].state, cells[OTHER].state) == ("accepted", "short")
    reopened = r.CellReopened(cell=CELL, superseded=(1,), by="Ines", reason="loose cable")
    run, cells = standing(tmp_path / "after", *before, reopened)
    assert (run.accepted, run.short) == (0, 1)
    assert cells[CELL] == CellStanding(cell=CELL, group=1, attempts=1)


def test_in_a_new_group_the_counts_begin_anew(tmp_path: Path) -> None:
    first = (*BEGINNING, started(1), ended(1), judged(1))
    opened = r.GroupOpened(group=2, fields=(), changed=("gpu.driver",))
    run, cells = standing(tmp_path / "opened", *first, opened)
    assert (run.group, cells[CELL].group, cells[CELL].kept) == (2, 1, 1)
    _, cells = standing(tmp_path / "passed", *first, opened, started(2, group=2))
    assert cells[CELL] == CellStanding(cell=CELL, group=2, attempts=2)


def test_a_hold_says_why_and_what_to_do_until_it_is_released(tmp_path: Path) -> None:
    hold = r.RigHeld(hold="h1", fault="limit", reason="gpu.temperature 93 °C", do="clean the fan")
    run, _ = standing(tmp_path / "held", *BEGINNING, hold)
    assert run.phase == "held"
    assert run.waits is not None
    assert json.loads(run.waits) == {
        "hold": "h1",
        "fault": "limit",
        "reason": "gpu.temperature 93 °C",
        "do": "clean the fan",
        "changed": [],
        "limit": None,
        "foretold": [],
        "gate": None,
    }
    release = r.RigReleased(hold="h1", by="Ines", note="dust")
    run, _ = standing(tmp_path / "released", *BEGINNING, hold, release)
    assert (run.phase, run.waits) == ("idle", None)


def test_an_open_step_is_shown_through_a_restart_until_it_is_confirmed(tmp_path: Path) -> None:
    step = r.StepAsked(
        step=1, levels=(("slot", "shared"),), say=("Second slot.",), opens_case=True, reboot=True
    )
    run, _ = standing(tmp_path / "asked", *BEGINNING, step, r.RunnerStarted())
    assert run.phase == "step"
    assert run.since == "2026-11-02T22:35:00.125000Z"
    assert run.waits is not None
    assert json.loads(run.waits)["say"] == ["Second slot."]
    done = r.StepConfirmed(step=1, by="Ines", note="")
    run, _ = standing(tmp_path / "done", *BEGINNING, step, done)
    assert (run.phase, run.waits) == ("idle", None)


def test_a_record_out_of_order_is_kept_and_changes_no_phase(tmp_path: Path) -> None:
    run, cells = standing(tmp_path, judged(1))
    assert (run.phase, run.seq, cells[CELL].kept) == ("new", 1, 1)


@pytest.mark.parametrize("table", ["run_standing", "cell_standing"])
@pytest.mark.parametrize("by_a_reader", [True, False])
def test_the_cache_may_be_emptied_and_is_made_again(
    tmp_path: Path, table: str, by_a_reader: bool
) -> None:
    records = (*BEGINNING, started(1), ended(1), judged(1), started(2, OTHER))
    before = standing(tmp_path, *records)
    with open_store(tmp_path, write=True) as store:
        store._file._db.execute(f"DELETE FROM {table}")
        for gone in ("run_standing", "cell_standing"):
            assert store._file._db.execute(f"SELECT * FROM {gone}").fetchall() == []
        if not by_a_reader:
            store.journal(RUN)
            counts = store._file._db.execute("SELECT count(*) FROM cell_standing").fetchone()
            assert counts == (2,)
    with open_store(tmp_path, write=False) as store:
        assert store.run(RUN).standing == before[0]
        assert {cell.cell: cell for cell in store.cells(RUN)} == before[1]


def test_the_counts_are_those_of_the_records_counted_by_hand(tmp_path: Path) -> None:
    verdicts = [Verdict.KEPT, Verdict.KEPT, Verdict.VOID, Verdict.FAILED]
    records: list[r.Record] = [*BEGINNING]
    for attempt, verdict in enumerate(verdicts * 5, 1):
        cell = (CELL, OTHER)[attempt % 2]
        records += [started(attempt, cell), ended(attempt, cell), judged(attempt, verdict, cell)]
    _, cells = standing(tmp_path, *records)
    by_hand = Counter(
        (record.cell, record.verdict.value)
        for record in records
        if isinstance(record, r.PassJudged)
    )
    found = {
        (cell.cell, verdict): getattr(cell, verdict)
        for cell in cells.values()
        for verdict in ("kept", "void", "failed")
    }
    assert {key: count for key, count in found.items() if count} == dict(by_hand)


def test_runs_are_listed_newest_first_and_found_by_plan(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        for run, plan in (("a", "9f"), ("b", "77"), ("c", "9f")):
            store.create_run(run, plan_name="p", plan_hash=plan, rig="bench-3", cells=2, at=AT)
        assert [line.run for line in store.runs()] == ["c", "b", "a"]
        assert [line.run for line in store.runs(limit=2)] == ["c", "b"]
        assert store.runs_of_plan("9f") == ("c", "a")
        assert store.run("b").open_cells == 2


def test_a_run_that_is_not_there_is_named_with_those_that_are(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        store.create_run("a", plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)
        with pytest.raises(AskedError, match="the latest: a") as caught:
            store.journal("z")
        assert caught.value.problems[0].code == "no-such-run"


@pytest.mark.parametrize("run", ["", "../a", "a/b", ".a", "a b", "x" * 101, "a\n"])
def test_a_run_that_is_no_name_for_a_folder_is_a_bug(tmp_path: Path, run: str) -> None:
    with open_store(tmp_path, write=True) as store, pytest.raises(ValueError, match="not a name"):
        store.create_run(run, plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)


def test_a_run_is_created_once(tmp_path: Path) -> None:
    with open_store(tmp_path, write=True) as store:
        store.create_run("a", plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)
        with pytest.raises(Exception, match="a run is created once"):
            store.create_run("a", plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)
