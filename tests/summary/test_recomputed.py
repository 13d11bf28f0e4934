"""A cell decided again: the run's own rules give its own outcome, others another."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from harness.plan import document as d
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.summary.cells import summarise
from harness.summary.passes import gather
from harness.summary.recomputed import AgainPass, decided_again
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


def wanted(keep: int, at_most: int) -> d.Passes:
    return d.Passes(warm_up=d.WarmUp(passes=0), keep=keep, at_most=at_most)


def test_without_rules_the_first_passes_are_enough_and_the_rest_surplus() -> None:
    decided = decided_again(again(100.0, 80.0, 100.0, 101.0), rules=(), wanted=wanted(3, 6))
    assert decided.state is r.CellState.ACCEPTED
    assert decided.kept == (1, 2, 3)
    assert decided.verdicts[3][1] == "surplus"


def test_a_stricter_rule_can_leave_a_cell_short() -> None:
    decided = decided_again(again(100.0, 80.0, 100.0), rules=(SPREAD,), wanted=wanted(3, 3))
    assert decided.state is r.CellState.SHORT
    assert decided.kept == (1, 3)


def test_a_void_pass_uses_up_one_and_counts_nothing() -> None:
    decided = decided_again(again(None, 100.0), rules=(), wanted=wanted(1, 2))
    assert (decided.state, decided.kept) == (r.CellState.ACCEPTED, (2,))


rates = st.sampled_from([100.0, 100.4, 99.7, 80.0, 120.0, 101.1])


@settings(max_examples=60, deadline=None)
@given(
    deeds=st.lists(rates | st.just("no capture") | st.just("exits 3"), max_size=12),
    keep=st.integers(1, 4),
    more=st.integers(0, 4),
)
def test_a_runs_own_rules_give_its_own_outcome(
    deeds: list[float | str], keep: int, more: int
) -> None:
    a_plan = plan(keep=keep, at_most=keep + more, discard=(SPREAD,), faults=d.Faults(stop_after=9))
    run = Rehearsal(a_plan, deeds)
    run.go_on()
    (summary,) = summarise(run.journal.entries(), plan=a_plan)
    (of_cell,) = gather(run.records).cells.values()
    passes = [
        AgainPass(
            attempt=each.attempt,
            verdict=Verdict.KEPT if each.verdict is Verdict.DISCARDED else each.verdict,
            reason="",
            figures=each.figures,
        )
        for _, each in sorted(of_cell.passes.items())
        if each.verdict is not None
    ]
    decided = decided_again(passes, rules=a_plan.discard, wanted=a_plan.passes)
    assert decided.state is summary.state
    assert len(decided.kept) == summary.passes.kept
    assert decided.figures == summary.figures
