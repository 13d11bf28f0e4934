"""Cells measured again: what counts afterwards, and what happens where the rig has changed."""

from __future__ import annotations

import dataclasses

import pytest

from harness.run import records as r
from harness.run.instructions import Outcome
from nights.homes import MemoryHome
from nights.invariants import check
from nights.play import play
from tests.run.rehearsal import Rehearsal, plan


def finished(titles: int = 2) -> tuple[Rehearsal, tuple[str, ...]]:
    """Return a finished run of *titles* cells, and their keys."""
    run = Rehearsal(plan(titles=titles, keep=2))
    assert run.go_on() is Outcome.FINISHED
    return run, tuple(run.folded().progress)


def test_a_rerun_of_a_finished_run_touches_no_other_cell() -> None:
    run, (one, other) = finished()
    before = [x for x in run.records if getattr(x, "cell", None) == other]
    run.ask(r.RequestKind.RERUN, cells=(one,), note="fan was unplugged")
    assert run.go_on() is Outcome.FINISHED
    assert [x for x in run.records if getattr(x, "cell", None) == other] == before
    (reopened,) = run.of(r.CellReopened)
    assert (reopened.superseded, reopened.by, reopened.reason) == (
        (1, 2), "Ana", "fan was unplugged",
    )  # fmt: skip
    assert [x.kept for x in run.of(r.CellClosed) if x.cell == one] == [(1, 2), (3, 4)]


def test_a_second_rerun_supersedes_only_what_came_since_the_first() -> None:
    run, (one,) = finished(titles=1)
    for _ in range(2):
        run.ask(r.RequestKind.RERUN, cells=(one,))
        assert run.go_on() is Outcome.FINISHED
    assert [x.superseded for x in run.of(r.CellReopened)] == [(1, 2), (3, 4)]


def test_a_rerun_asked_for_twice_with_no_pass_between_is_one_rerun() -> None:
    run, (one, other) = finished()
    run.ask(r.RequestKind.RERUN, cells=(one,))
    run.ask(r.RequestKind.RERUN, cells=(one, other))
    run.ask(r.RequestKind.RERUN, cells=(one,))
    assert run.go_on() is Outcome.FINISHED
    assert [(x.cell, x.superseded) for x in run.of(r.CellReopened)] == [
        (one, (1, 2)), (other, (1, 2)),
    ]  # fmt: skip
    again = "1 cell is to be measured again already, and no pass has come since"
    assert [(x.accepted, x.answer) for x in run.of(r.RequestAnswered)] == [
        (True, "1 cell is measured again"),
        (True, f"1 cell is measured again; {again}"),
        (True, again),
    ]


def test_attempt_numbers_go_on_over_a_rerun() -> None:
    run, (one,) = finished(titles=1)
    run.ask(r.RequestKind.RERUN, cells=(one,))
    run.go_on()
    assert [x.attempt for x in run.of(r.PassStarted)] == [1, 2, 3, 4]


def test_a_rerun_on_a_rig_that_has_changed_is_held_and_the_difference_named() -> None:
    run, (one, _) = finished()
    launched = len(run.bench.launched)
    run.bench.fields["gpu.driver"] = "552.1"
    run.bench.fields["os.build"] = "rehearsed 2"
    run.ask(r.RequestKind.RERUN, cells=(one,))
    assert run.go_on() is Outcome.HELD
    assert len(run.bench.launched) == launched
    (held,) = run.of(r.RigHeld)
    assert held.fault == "fingerprint-changed"
    assert "os.build was 'rehearsed 1', is 'rehearsed 2'" in held.reason


def test_what_a_release_accepts_is_measured_again_in_a_group_of_its_own() -> None:
    run, (one, other) = finished()
    run.bench.fields["os.build"] = "rehearsed 2"
    run.ask(r.RequestKind.RERUN, cells=(one,))
    run.go_on()
    run.release()
    assert run.go_on() is Outcome.FINISHED
    groups = {x.cell: x.group for x in run.of(r.CellClosed)}
    assert groups == {one: 2, other: 1}


def test_a_finished_run_that_is_only_looked_at_is_not_held_for_a_change() -> None:
    run, _ = finished()
    run.bench.fields["os.build"] = "rehearsed 2"
    assert run.go_on() is Outcome.FINISHED
    assert run.of(r.RigHeld) == []


def test_a_rerun_of_a_cell_that_is_not_there_is_refused_with_an_answer() -> None:
    run, _ = finished()
    run.ask(r.RequestKind.RERUN, cells=("0" * 12,))
    assert run.go_on() is Outcome.FINISHED
    (answer,) = run.of(r.RequestAnswered)
    assert not answer.accepted
    assert "no such cells" in answer.answer


def test_a_runner_that_dies_after_the_answer_measures_again_at_the_next_start() -> None:
    run, (one, _) = finished()
    run.ask(r.RequestKind.RERUN, cells=(one,))
    assert run.go_on(stop=run.after(1, r.CellReopened)) is Outcome.PAUSED
    assert run.go_on() is Outcome.FINISHED
    assert len(run.of(r.CellReopened)) == 1


def test_the_checker_of_nights_sees_a_superseded_pass_that_counts() -> None:
    night = next(
        found
        for found in (play(seed) for seed in range(100))
        if any(isinstance(x, r.CellReopened) and x.superseded for x in found.records)
    )
    assert isinstance(night.home, MemoryHome)
    entries = [*night.home.entries(0)]
    at, reopened = next(
        (n, e.record)
        for n, e in enumerate(entries)
        if isinstance(e.record, r.CellReopened) and e.record.superseded
    )
    untold = dataclasses.replace(reopened, superseded=())
    entries[at] = dataclasses.replace(entries[at], record=untold)
    night.home.kept._entries = entries
    with pytest.raises(AssertionError, match="left a pass of its cell standing"):
        check(night)
