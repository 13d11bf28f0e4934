"""Which cells are measured again: chosen by what became of their passes, warm-up passes too."""

from __future__ import annotations

import argparse

import pytest

from harness.commands.rerun import _chosen, _had
from harness.errors import AskedError
from harness.rules.judgement import Verdict
from harness.run.state import Grid
from harness.summary.cells import CellSummary, summarise
from tests.run.rehearsal import Deed, Rehearsal, plan


def carried_out(*deeds: Deed, warm_up: int) -> tuple[Rehearsal, tuple[CellSummary, ...]]:
    """Return a run of one cell whose passes did *deeds*, and the cell's summary."""
    run = Rehearsal(plan(keep=2, at_most=3, warm_up=warm_up), deeds)
    run.go_on()
    return run, summarise(run.journal.entries(), plan=run.plan)


def chosen(
    run: Rehearsal, summaries: tuple[CellSummary, ...], *ways: str
) -> tuple[CellSummary, ...]:
    asked = {name: name in ways for name in ("failed", "void", "discarded")}
    args = argparse.Namespace(run="run-1", cell=[], **asked)
    return _chosen(args, summaries, Grid.of(run.plan))


def test_a_cell_that_failed_in_its_warm_up_alone_is_chosen_by_failed() -> None:
    run, (cell,) = carried_out(*["exits 3"] * 3, warm_up=1)
    assert (cell.state.value, cell.passes.failed) == ("failed", 0)
    assert chosen(run, (cell,), "failed") == (cell,)
    assert _had(cell) == "failed, 0 kept of 0 passes, 3 of 3 warm-up passes failed"


def test_a_cell_whose_passes_were_all_void_has_failed_and_is_chosen_so() -> None:
    run, (cell,) = carried_out(*["no capture"] * 3, warm_up=0)
    assert (cell.state.value, cell.passes.failed) == ("failed", 0)
    assert chosen(run, (cell,), "failed") == chosen(run, (cell,), "void") == (cell,)


def test_a_cell_that_fell_short_is_chosen_by_a_void_warm_up_pass() -> None:
    run, (cell,) = carried_out("no capture", 100.0, "exits 3", "exits 3", warm_up=1)
    assert (cell.state.value, cell.warm_ups) == ("short", (Verdict.VOID,))
    assert chosen(run, (cell,), "void") == (cell,)


def test_an_accepted_cell_is_not_chosen_by_a_warm_up_pass_that_failed() -> None:
    run, (cell,) = carried_out("exits 3", 100.0, 100.0, 100.0, warm_up=1)
    assert (cell.state.value, Verdict.FAILED in cell.warm_ups) == ("accepted", True)
    with pytest.raises(AskedError, match="nothing-to-rerun"):
        chosen(run, (cell,), "failed", "void")
