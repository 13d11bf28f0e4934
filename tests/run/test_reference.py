"""The reference cell: when it is measured, and that it counts to no cell."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from harness.plan import document as d
from harness.plan.cells import cells
from harness.plan.order import blocks, reference_cells
from harness.rig.rehearsed import RehearsedBench
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.instructions import Outcome
from harness.run.reference import reference_due
from harness.store.standing import CellStanding, RunStanding
from harness.store.tally import tallied
from harness.summary.cells import summarise
from tests.run.rehearsal import Rehearsal, plan

REFERENCE = d.Reference(title="Title 0", scene="loop", setting="fhd")


def played(**parts: object) -> Rehearsal:
    night = Rehearsal(plan(reference=REFERENCE, **parts))  # type: ignore[arg-type]
    assert night.go_on() is Outcome.FINISHED
    return night


def order_of(night: Rehearsal) -> list[str]:
    return ["R" if s.reference else "p" for s in night.of(r.PassStarted)]


def test_it_is_measured_when_a_visit_begins_and_when_it_ends() -> None:
    assert order_of(played(keep=2)) == ["R", "p", "p", "R"]


def test_every_visit_has_its_own() -> None:
    night = played(keep=2, order=d.Order(visits=2))

    assert order_of(night) == ["R", "p", "R", "R", "p", "R"]


def test_it_counts_neither_as_kept_nor_as_used_up() -> None:
    night = played(keep=2, at_most=2)
    (summary,) = summarise(night.journal.entries(), plan=night.plan)

    assert summary.passes.kept == 2
    assert summary.state is r.CellState.ACCEPTED


def test_its_number_is_on_record_all_the_same() -> None:
    night = Rehearsal(plan(reference=REFERENCE, keep=1), deeds=[77.0, 100.0, 78.0])
    night.go_on()
    references = {(s.cell, s.attempt) for s in night.of(r.PassStarted) if s.reference}
    values = [
        e.figures[0].value for e in night.of(r.PassEnded) if (e.cell, e.attempt) in references
    ]

    assert values == [77.0, 78.0]


def test_one_that_fails_is_tried_again_and_then_left() -> None:
    night = Rehearsal(
        plan(reference=REFERENCE, keep=1, faults=d.Faults(again=1)),
        deeds=["exits 3", "exits 3", 100.0, "exits 3", "exits 3"],
    )

    assert night.go_on() is Outcome.FINISHED
    assert order_of(night) == ["R", "R", "p", "R", "R"]


def test_its_faults_hold_no_rig_and_close_no_cell() -> None:
    night = Rehearsal(
        plan(reference=REFERENCE, keep=1, faults=d.Faults(again=0, then=d.FaultThen.HOLD)),
        deeds=["exits 3", 100.0, "exits 3"],
    )

    assert night.go_on() is Outcome.FINISHED
    assert not night.of(r.RigHeld)


def test_it_is_warmed_up_as_its_cell_is() -> None:
    night = played(keep=1, warm_up=1)
    kinds = [(s.reference, s.warm_up) for s in night.of(r.PassStarted)]

    assert kinds == [(True, True), (True, False), (False, False), (True, False)]


def test_it_is_due_again_after_the_time_that_the_plan_gives() -> None:
    night = Rehearsal(plan(reference=replace(REFERENCE, every_s=3600.0), keep=3))
    night.go_on(stop=night.after(2, r.PassJudged))
    state = night.folded()
    began = datetime.fromisoformat(state.reference_at)

    assert reference_due(state, began + timedelta(minutes=59)) is None
    assert reference_due(state, began + timedelta(minutes=60)) is not None


def test_a_clock_set_back_asks_for_one_more_rather_than_for_none() -> None:
    night = Rehearsal(plan(reference=replace(REFERENCE, every_s=3600.0), keep=3))
    night.go_on(stop=night.after(2, r.PassJudged))
    state = night.folded()

    assert reference_due(state, datetime(2001, 1, 1, tzinfo=UTC)) is not None


def test_it_is_the_same_cell_in_every_block_but_for_what_a_person_sets() -> None:
    levels = tuple(d.Level(name=n, say=n) for n in ("one", "two"))
    two = plan(
        reference=REFERENCE,
        conditions=(
            d.Condition(name="slot", by=d.By.OPERATOR, levels=levels),
            d.Condition(name="power", by=d.By.COMMAND, levels=levels),
        ),
    )
    keys = reference_cells(two, blocks(two))
    grid = {cell.key: cell for cell in cells(two)}
    chosen = [dict(grid[key].levels) for key in keys if key is not None]

    assert chosen == [{"slot": "one", "power": "one"}, {"slot": "two", "power": "one"}]


class _Dies:
    """A bench under which the runner is gone as soon as a pass is launched."""

    def __init__(self, inner: RehearsedBench) -> None:
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def carry_out(self, task: object, stop: object) -> None:
        raise KeyboardInterrupt


def test_an_interrupted_one_is_carried_out_again() -> None:
    night = Rehearsal(plan(reference=REFERENCE, keep=1))
    with pytest.raises(KeyboardInterrupt):
        night.go_on(bench=_Dies(night.bench))

    night.go_on()

    assert next(j.verdict for j in night.of(r.PassJudged)) is Verdict.INTERRUPTED
    assert order_of(night) == ["R", "R", "p", "R"]


def test_the_standing_of_a_cell_does_not_count_it() -> None:
    night = played(keep=2)
    run, standing = _standing(night)

    assert run.passes == 2
    assert [cell.kept for cell in standing.values()] == [2]


def _standing(night: Rehearsal) -> tuple[RunStanding, dict[str, CellStanding]]:
    run, found = RunStanding(), dict[str, CellStanding]()
    for entry in night.journal.entries():
        run, cell = tallied(run, entry, lambda key: found.get(key, CellStanding(cell=key)))
        if cell is not None:
            found[cell.cell] = cell
    return run, found


def test_what_warms_the_reference_cell_up_is_counted_as_its_warm_up() -> None:
    night = played(keep=1, warm_up=1)
    (summary,) = summarise(night.journal.entries(), plan=night.plan)
    _, standing = _standing(night)

    assert summary.passes.warm_up == 1
    assert [cell.warm_up for cell in standing.values()] == [1]
