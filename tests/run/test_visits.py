"""A person's steps as visits: who confirms, who stays, and what is answered to a second word."""

from __future__ import annotations

import pytest

from harness.plan import document as d
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan


def slot(*levels: str, opens_case: bool = True) -> d.Condition:
    return d.Condition(
        name="slot", by=d.By.OPERATOR, opens_case=opens_case,
        levels=tuple(d.Level(name=each, say=f"Card in {each}.") for each in levels),
    )  # fmt: skip


def at_the_step(**parts: object) -> Rehearsal:
    run = Rehearsal(plan(keep=1, **parts))  # type: ignore[arg-type]
    assert run.go_on(stop=run.after(1, r.StepAsked)) is Outcome.PAUSED
    return run


def answers(run: Rehearsal) -> list[tuple[bool, str]]:
    return [(each.accepted, each.answer) for each in run.of(r.RequestAnswered)]


def test_a_step_that_opens_the_case_is_confirmed_only_by_somebody_who_stays() -> None:
    run = at_the_step(conditions=(slot("one"),))
    run.ask(r.RequestKind.CONFIRM, step=1)
    assert run.go_on(stop=run.after(1, r.RequestAnswered)) is Outcome.PAUSED
    [(accepted, answer)] = answers(run)
    assert not accepted
    assert "the first pass after that is attended" in answer
    assert "--attending" in answer
    assert not run.of(r.PassStarted)
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    [confirmed] = run.of(r.StepConfirmed)
    assert confirmed.attending


def test_a_step_that_opens_no_case_asks_nobody_to_stay() -> None:
    run = at_the_step(conditions=(slot("one", opens_case=False),))
    run.ask(r.RequestKind.CONFIRM, step=1)
    assert run.go_on() is Outcome.FINISHED
    [confirmed] = run.of(r.StepConfirmed)
    assert not confirmed.attending


def test_a_second_confirmation_is_told_that_the_step_is_confirmed_already() -> None:
    run = at_the_step(conditions=(slot("one", "two"),))
    run.ask(r.RequestKind.CONFIRM, step=1, attending=True)
    run.ask(r.RequestKind.CONFIRM, step=1, attending=True)
    assert run.go_on(stop=run.after(2, r.StepAsked)) is Outcome.PAUSED
    assert answers(run) == [
        (True, "step 1 is confirmed"), (False, "step 1 is confirmed already"),
    ]  # fmt: skip
    run.ask(r.RequestKind.CONFIRM, step=1, attending=True)
    run.ask(r.RequestKind.CONFIRM, step=7, attending=True)
    run.go_on(stop=run.after(4, r.RequestAnswered))
    assert answers(run)[2:] == [
        (False, "step 1 is confirmed already; step 2 is open"),
        (False, "step 7 is not open; step 2 is"),
    ]


@pytest.mark.parametrize("by", list(d.OrderBy))
def test_four_visits_alternate_and_each_has_its_share_of_every_cell(by: d.OrderBy) -> None:
    order = d.Order(visits=2, by=by)
    run = Rehearsal(plan(titles=2, keep=4, conditions=(slot("one", "two"),), order=order))
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    asked = [step.levels[0][1] for step in run.of(r.StepAsked)]
    assert asked == ["one", "two", "one", "two"]  # A-B-A-B
    assert all(each.attending for each in run.of(r.StepConfirmed))
    blocks: list[list[str]] = []
    for record in run.records:
        if isinstance(record, r.BlockOpened):
            blocks.append([])
        if isinstance(record, r.PassStarted):
            blocks[-1].append(record.cell)
    assert len(blocks) == 4
    assert all(sorted(map(each.count, set(each))) == [2, 2] for each in blocks)
    assert set(blocks[0]) == set(blocks[2]) != set(blocks[1]) == set(blocks[3])


@pytest.mark.parametrize("look_first", [True, False])
def test_looking_first_shows_the_set_up_error_of_every_cell_in_the_first_round(
    look_first: bool,
) -> None:
    passes = d.Passes(warm_up=d.WarmUp(passes=0), keep=4, at_most=8, look_first=look_first)
    order = d.Order(by=d.OrderBy.PLAN, rounds=1)  # a round would give each cell all its passes
    faults = d.Faults(again=0, then=d.FaultThen.NEXT_CELL, stop_after=99)
    run = Rehearsal(plan(titles=3, passes=passes, order=order, faults=faults))
    cells = list(run.folded().progress)
    broken = {cells[1], cells[2]}
    run.model.deeds = [100.0] + ["exits 3"] * 2 if look_first else [100.0] * 4 + ["exits 3"] * 2
    run.go_on()
    started = run.of(r.PassStarted)
    first = {each.cell: n for n, each in reversed(list(enumerate(started)))}
    faulty = {x.cell for x in run.of(r.PassJudged) if x.fault == "exited"}
    assert faulty == broken
    assert max(first[cell] for cell in broken) == (2 if look_first else 5)
