"""A cell decided again: the run's own rules give its own outcome, others another."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from harness.plan import document as d
from harness.plan.cells import cells
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.summary.cells import summarise
from harness.summary.passes import CellPasses, gather
from harness.summary.recomputed import AgainPass, Decided, decided_again
from tests.run.rehearsal import Rehearsal, plan

SPREAD = d.DiscardRule(rule="spread", on="average_fps", more_than=0.03)


def again(*rates: float | None) -> list[AgainPass]:
    """Return passes with these frame rates; None: a void pass."""
    return [
        AgainPass(
            attempt=attempt,
            verdict=Verdict.VOID if rate is None else Verdict.KEPT,
            reason="",
            figures=()
            if rate is None
            else (Figure(name="average_fps", value=rate, unit="fps", definition="x/1"),),
        )
        for attempt, rate in enumerate(rates, 1)
    ]


def decided(passes: list[AgainPass], a_plan: d.Plan, **more: Any) -> Decided:
    """Return how the only cell of a plan stands with these passes."""
    [cell] = cells(a_plan)
    return decided_again(passes, plan=a_plan, cell=cell, **{"rules": a_plan.discard, **more})


def test_without_rules_the_first_passes_are_enough_and_the_rest_surplus() -> None:
    found = decided(again(100.0, 80.0, 100.0, 101.0), plan(keep=3, at_most=6))
    assert found.state is r.CellState.ACCEPTED
    assert found.kept == (1, 2, 3)
    assert found.verdicts[3][1] == "surplus"


def test_a_stricter_rule_can_leave_a_cell_short() -> None:
    found = decided(again(100.0, 80.0, 100.0), plan(keep=3, at_most=3, discard=(SPREAD,)))
    assert found.state is r.CellState.SHORT
    assert found.kept == (1, 3)


def test_a_void_pass_uses_up_one_and_counts_nothing() -> None:
    found = decided(again(None, 100.0), plan(keep=1, at_most=2))
    assert (found.state, found.kept) == (r.CellState.ACCEPTED, (2,))


rates = st.sampled_from([100.0, 100.4, 99.7, 80.0, 120.0, 101.1])
enough = st.sampled_from([None, d.Enough(half_width=0.01), d.Enough(half_width=0.1)])


@settings(max_examples=120, deadline=None)
@given(
    deeds=st.lists(rates | st.just("no capture") | st.just("exits 3"), max_size=16),
    keep=st.integers(1, 4),
    more=st.integers(0, 6),
    warm_up=st.integers(0, 1),
    how_exact=enough,
)
def test_a_runs_own_rules_give_its_own_outcome(
    deeds: list[float | str], keep: int, more: int, warm_up: int, how_exact: d.Enough | None
) -> None:
    a_plan = plan(
        keep=keep, at_most=keep + more, warm_up=warm_up, discard=(SPREAD,), enough=how_exact,
        faults=d.Faults(stop_after=9),
    )  # fmt: skip
    run = Rehearsal(a_plan, deeds)
    run.go_on()
    (summary,) = summarise(run.journal.entries(), plan=a_plan)
    found = decided(counted(run), a_plan, sized=gathered(run).sized, was=summary.state)
    assert found.state is summary.state
    assert len(found.kept) == summary.passes.kept
    assert found.figures == summary.figures


def gathered(run: Rehearsal) -> CellPasses:
    (of_cell,) = gather(run.records).cells.values()
    return of_cell


def counted(run: Rehearsal) -> list[AgainPass]:
    """Return the counted passes of a run's only cell, to be decided again."""
    return [
        AgainPass(
            attempt=each.attempt,
            verdict=Verdict.KEPT if each.verdict is Verdict.DISCARDED else each.verdict,
            reason="",
            figures=each.figures,
        )
        for _, each in sorted(gathered(run).passes.items())
        if each.verdict is not None and not each.warm_up
    ]


def test_a_cell_that_its_pilot_sized_keeps_all_its_passes_and_its_interval() -> None:
    a_plan = plan(keep=5, at_most=30, enough=d.Enough(half_width=0.01))
    run = Rehearsal(a_plan, [98.0, 102.0, 99.0, 101.0, 100.0])
    run.go_on()
    (summary,) = summarise(run.journal.entries(), plan=a_plan)
    found = decided(counted(run), a_plan, sized=gathered(run).sized, was=summary.state)
    assert len(found.kept) == summary.passes.kept > 5
    assert found.figure("average_fps") == summary.figure("average_fps")


def test_a_cell_whose_warm_up_never_succeeded_stays_failed() -> None:
    found = decided([], plan(keep=2, at_most=3), was=r.CellState.FAILED)
    assert found.state is r.CellState.FAILED


def test_a_cell_that_other_rules_leave_without_enough_passes_is_open() -> None:
    a_plan = plan(keep=3, at_most=6, discard=(SPREAD,))
    found = decided(again(100.0, 80.0, 100.0), a_plan, was=r.CellState.ACCEPTED)
    assert found.state is r.CellState.OPEN
