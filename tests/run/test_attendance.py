"""The first pass after an opened case is attended, whoever takes the run up, and however often."""

from __future__ import annotations

import dataclasses

import pytest

from harness.plan import document as d
from harness.rig.rehearsed import RehearsedBench
from harness.rig.tasks import PassReport, PassTask
from harness.rules.judgement import Measured, Verdict
from harness.rules.rehearsed_meter import rehearsed_meter
from harness.run import records as r
from harness.run.attendance import STAY
from harness.run.debts import is_debt
from harness.run.instructions import Outcome
from harness.run.loop import Loop
from harness.run.pick import PUT_RIGHT, STILL
from tests.run.rehearsal import Deed, Rehearsal, plan

#: A level that can be read is read again after a start, and no step is asked for it.
READ = d.Bound(reading="memory.speed", unit="MT/s", at_least=1000.0)


class Gone(BaseException):
    """The runner was killed."""


def slot(*levels: str) -> d.Condition:
    return d.Condition(
        name="slot", by=d.By.OPERATOR, opens_case=True,
        levels=tuple(d.Level(name=each, say=f"Card in {each}.", expect=(READ,)) for each in levels),
    )  # fmt: skip


def opened(*deeds: Deed, levels: tuple[str, ...] = ("one",), **parts: object) -> Rehearsal:
    """Return a run whose step is confirmed by somebody who stays, and whose runner then went."""
    run = Rehearsal(plan(keep=2, conditions=(slot(*levels),), **parts), deeds=deeds)  # type: ignore[arg-type]
    run.model.constants = {**run.model.constants, "memory.speed": 6000.0}
    run.clock.person = run.confirms()
    assert run.go_on(stop=run.after(1, r.StepConfirmed)) is Outcome.PAUSED
    run.clock.person = lambda: None
    return run


def steps(run: Rehearsal) -> list[r.StepAsked]:
    return run.of(r.StepAsked)


def test_a_runner_that_comes_later_asks_for_somebody_before_it_starts_a_title() -> None:
    run = opened()
    assert run.go_on(stop=run.after(2, r.StepAsked)) is Outcome.PAUSED
    assert not run.of(r.PassStarted)
    asked = steps(run)[-1]
    assert (asked.attend, asked.levels, asked.opens_case, asked.say) == (True, (), False, (STAY,))
    assert "nobody is known to be with the rig" in asked.why


@pytest.mark.parametrize("restarts", [1, 3])
def test_the_step_stays_open_however_often_a_runner_comes_and_goes(restarts: int) -> None:
    run = opened()
    run.go_on(stop=run.after(2, r.StepAsked))
    for _ in range(restarts):
        assert run.go_on(stop=lambda: True) is Outcome.PAUSED
    assert not run.of(r.PassStarted)
    assert len(steps(run)) == 2


def somebody_comes(run: Rehearsal) -> None:
    """Let somebody come to the open step and say that they stay."""
    run.clock.person = run.confirms()


def test_the_word_of_somebody_who_stays_lasts_as_long_as_the_runner_that_heard_it() -> None:
    run = opened()
    somebody_comes(run)
    for number in (2, 3):  # each runner is gone before its first pass has begun
        run.go_on(stop=run.after(number, r.StepConfirmed))
    run.go_on(stop=run.after(4, r.StepAsked))
    assert [each.attend for each in steps(run)] == [False, True, True, True]
    assert not run.of(r.PassStarted)


def test_a_word_that_was_given_before_the_runner_came_up_is_asked_for_again() -> None:
    run = opened()
    run.go_on(stop=run.after(2, r.StepAsked))
    run.ask(r.RequestKind.CONFIRM, step=2, attending=True)  # and nobody may be there by now
    run.go_on(stop=run.after(3, r.StepAsked))
    confirmed = run.of(r.StepConfirmed)[-1]
    assert (confirmed.step, confirmed.attending, confirmed.before) == (2, True, True)
    assert not run.of(r.PassStarted)


def test_the_step_is_confirmed_only_by_somebody_who_stays_and_the_run_goes_on() -> None:
    run = opened()
    run.go_on(stop=run.after(2, r.StepAsked))
    run.ask(r.RequestKind.CONFIRM, step=2)
    run.go_on(stop=lambda: bool(refusals(run)))
    assert "say so with --attending" in refusals(run)[0].answer
    assert not run.of(r.PassStarted)
    somebody_comes(run)
    assert run.go_on() is Outcome.FINISHED
    confirmed = run.of(r.StepConfirmed)[-1]
    assert (confirmed.step, confirmed.by, confirmed.attending) == (2, "Ana", True)


def refusals(run: Rehearsal) -> list[r.RequestAnswered]:
    return [each for each in run.of(r.RequestAnswered) if not each.accepted]


def test_whoever_starts_the_runner_at_a_terminal_is_there_and_on_record() -> None:
    run = opened()
    assert run.go_on(attended_by="Ben") is Outcome.FINISHED
    assert len(steps(run)) == 1
    assert run.of(r.RunnerStarted)[-1].attended_by == "Ben"


def test_once_a_pass_is_over_nobody_need_stay() -> None:
    run = opened()
    run.go_on(attended_by="Ben", stop=run.after(1, r.PassJudged))
    assert run.of(r.PassJudged)[-1].verdict is Verdict.KEPT
    assert run.go_on() is Outcome.FINISHED
    assert len(steps(run)) == 1


def test_a_pass_that_failed_is_not_the_first_pass() -> None:
    run = opened("exits 3")
    run.go_on(attended_by="Ben", stop=run.after(1, r.PassJudged))
    run.go_on(stop=run.after(2, r.StepAsked))
    assert len(run.of(r.PassStarted)) == 1
    assert steps(run)[-1].attend


def test_a_pass_whose_runner_was_killed_is_not_the_first_pass() -> None:
    run = opened()

    def dies(task: PassTask, report: PassReport) -> Measured:
        raise Gone

    run.meter = dies
    with pytest.raises(Gone):
        run.go_on(attended_by="Ben")
    run.go_on(stop=run.after(2, r.StepAsked))
    assert [each.verdict for each in run.of(r.PassJudged)] == [Verdict.INTERRUPTED]
    assert steps(run)[-1].attend


def test_staying_touches_no_hardware_so_nothing_is_warmed_up_or_left_to_settle_again() -> None:
    run = opened(warm_up=1, rig=d.Rig(settle_s=300.0))
    run.go_on(stop=run.after(2, r.StepAsked))
    settled = len(run.of(r.RigSettled))
    somebody_comes(run)
    assert run.go_on() is Outcome.FINISHED
    assert len(run.of(r.RigSettled)) == settled == 1


def test_nobody_is_asked_to_stay_outside_the_hours_of_a_person() -> None:
    run = opened(person=d.Person(from_minute=8 * 60, to_minute=22 * 60))
    minute = run.clock.local_minute()
    to_night = (23 * 60 - minute) % (24 * 60)
    run.clock.elapsed_s += 60.0 * to_night
    asked: list[int] = []
    kept = run.journal.append

    def noted(records: object, **more: object) -> None:
        kept(records, **more)  # type: ignore[arg-type]
        asked.extend(run.clock.local_minute() for x in records if isinstance(x, r.StepAsked))  # type: ignore[attr-defined]

    run.journal.append = noted  # type: ignore[method-assign]
    run.go_on(stop=run.after(2, r.StepAsked))
    assert asked == [8 * 60]


def test_every_visit_has_a_first_pass_of_its_own() -> None:
    run = opened(levels=("one", "two"))
    run.go_on(attended_by="Ben", stop=run.after(2, r.StepAsked))
    somebody_comes(run)
    run.go_on(stop=run.after(2, r.StepConfirmed))
    run.go_on(stop=run.after(3, r.StepAsked))
    assert [each.attend for each in steps(run)] == [False, False, True]


# --- a level that no reading tells of -----------------------------------------------------------


def unread(*levels: str, deeds: tuple[Deed, ...] = ()) -> Rehearsal:
    """Return a run whose runner went while its step was open; nothing tells of its levels."""
    names = levels or ("one",)
    condition = d.Condition(
        name="slot", by=d.By.OPERATOR, opens_case=True,
        levels=tuple(d.Level(name=each, say=f"Card in {each}.") for each in names),
    )  # fmt: skip
    run = Rehearsal(plan(keep=2, conditions=(condition,)), deeds=deeds)
    assert run.go_on(stop=run.after(1, r.StepAsked)) is Outcome.PAUSED
    return run


def confirmed_alone(run: Rehearsal, step: int, *, attending: bool = True) -> None:
    """Confirm a step while no runner is at work, as `harness confirm` does."""
    run.ask(r.RequestKind.CONFIRM, step=step, attending=attending)
    loop = Loop(
        state=run.folded(),
        bench=run.bench,
        journal=run.journal,
        clock=run.clock,
        meter=rehearsed_meter(run.bench),
        boot=run.boot,
    )
    loop.answer_requests()


def test_what_was_confirmed_since_the_last_runner_went_is_not_asked_again() -> None:
    run = unread()
    confirmed_alone(run, 1)
    assert run.go_on(attended_by="Ben") is Outcome.FINISHED
    assert len(steps(run)) == 1


@pytest.mark.parametrize("after", ["another-run", ""])
def test_where_another_run_had_the_rig_since_it_is_looked_at_again(after: str) -> None:
    run = unread()
    confirmed_alone(run, 1)
    run.go_on(attended_by="Ben", after=after, stop=run.after(2, r.StepAsked))
    asked = steps(run)[-1]
    assert (asked.still, asked.reopens, asked.opens_case, asked.stays) == (True, True, False, False)
    assert asked.say == ("See that this is still so: Card in one.", PUT_RIGHT)
    assert asked.why == STILL
    assert not run.of(r.PassStarted)


def test_what_was_said_while_another_run_was_at_work_is_looked_at_again() -> None:
    run = unread()
    run.ask(r.RequestKind.CONFIRM, step=1, attending=True)  # answered when a runner comes up
    run.go_on(attended_by="Ben", after="another-run", stop=run.after(2, r.StepAsked))
    assert steps(run)[-1].still
    assert not run.of(r.PassStarted)


def test_after_another_start_of_the_machine_it_is_looked_at_again() -> None:
    run = unread()
    confirmed_alone(run, 1)
    run.boot = "boot-2"
    run.go_on(attended_by="Ben", stop=run.after(2, r.StepAsked))
    assert steps(run)[-1].still
    assert not run.of(r.PassStarted)


def test_nobody_but_a_runner_heard_who_stays_so_that_is_asked_all_the_same() -> None:
    run = unread()
    confirmed_alone(run, 1)
    run.go_on(stop=run.after(2, r.StepAsked))
    assert steps(run)[-1].attend
    assert not run.of(r.PassStarted)


def test_once_somebody_has_looked_the_run_goes_on_with_whoever_is_at_the_terminal() -> None:
    run = unread()
    confirmed_alone(run, 1)
    run.clock.person = lambda: come(run, attending=False)
    assert run.go_on(attended_by="Ben", after="another-run") is Outcome.FINISHED
    assert len(steps(run)) == 2


@pytest.mark.parametrize("boot", ["boot-1", "boot-2"])
def test_every_runner_asks_whether_it_is_still_so(boot: str) -> None:
    run = unread()
    run.clock.person = lambda: come(run, attending=True)
    run.go_on(stop=run.after(1, r.PassJudged))
    run.boot = boot
    run.go_on(attended_by="Ben", stop=run.after(2, r.StepAsked))
    assert steps(run)[-1].still


def test_while_it_is_looked_at_the_rig_is_held_against_everything_else() -> None:
    run = still_asked()
    assert debts(run) == ["run-1-owes-2-first-pass"]
    run.clock.person = lambda: come(run, attending=False)
    run.go_on(stop=run.after(2, r.StepConfirmed))
    assert debts(run) == []


def still_asked(**parts: object) -> Rehearsal:
    """Return a run that asks, after its first pass, whether its level is still so."""
    run = unread()
    run.plan = dataclasses.replace(run.plan, **parts)  # type: ignore[arg-type]
    run.clock.person = lambda: come(run, attending=True)
    run.go_on(attended_by="Ben", stop=run.after(1, r.PassJudged))
    run.clock.person = lambda: None
    run.go_on(stop=run.after(2, r.StepAsked))
    return run


def test_what_is_still_so_touches_nothing_and_asks_nobody_to_stay() -> None:
    run = still_asked(rig=d.Rig(settle_s=300.0))
    settled = len(run.of(r.RigSettled))
    run.clock.person = lambda: come(run, attending=False)
    assert run.go_on() is Outcome.FINISHED
    assert len(run.of(r.RigSettled)) == settled == 1
    assert len(steps(run)) == 2
    assert debts(run) == []


def test_whoever_opened_the_case_to_put_it_right_stays_for_the_first_pass() -> None:
    run = still_asked()
    run.clock.person = lambda: come(run, attending=True)
    run.go_on(stop=run.after(2, r.StepConfirmed))
    assert debts(run) == ["run-1-owes-2-first-pass"]
    run.clock.person = lambda: None
    run.go_on(stop=run.after(3, r.StepAsked))  # that runner has not heard who stays
    assert steps(run)[-1].still
    run.clock.person = lambda: come(run, attending=False)
    run.go_on(stop=run.after(4, r.StepAsked))
    assert steps(run)[-1].attend
    assert len(run.of(r.PassStarted)) == 1


def come(run: Rehearsal, *, attending: bool) -> float:
    run.ask(r.RequestKind.CONFIRM, step=run.loop.state.steps, attending=attending)
    return 60.0


def test_after_a_hold_the_step_is_asked_as_at_first() -> None:
    run = unread(deeds=("survives",))
    run.clock.person = lambda: come(run, attending=True)
    assert run.go_on() is Outcome.HELD
    run.release()
    run.go_on(attended_by="Ben", stop=run.after(2, r.StepAsked))
    asked = steps(run)[-1]
    assert (asked.still, asked.opens_case, asked.say) == (False, True, ("Card in one.",))


def test_the_next_level_is_asked_for_with_every_caution() -> None:
    run = unread("one", "two")
    run.clock.person = lambda: come(run, attending=True)
    run.go_on(stop=run.after(2, r.StepAsked))
    asked = steps(run)[-1]
    assert (asked.still, asked.opens_case, asked.levels) == (False, True, (("slot", "two"),))


# --- nothing else may start on the rig meanwhile -----------------------------------------------


def debts(run: Rehearsal) -> list[str]:
    return [hold.id for hold in run.bench.holds()]


def test_from_the_step_to_the_first_pass_the_rig_is_held_against_everything_else() -> None:
    run = opened()
    assert debts(run) == ["run-1-owes-1-first-pass"]
    assert is_debt(debts(run)[0], "run-1")  # the run itself may go on
    run.go_on(stop=run.after(2, r.StepAsked))
    assert debts(run) == ["run-1-owes-1-first-pass"]


def test_the_hold_is_lifted_when_the_first_pass_is_over() -> None:
    run = opened()
    run.go_on(attended_by="Ben", stop=run.after(1, r.PassJudged))
    assert debts(run) == []


def test_a_step_that_nobody_has_done_yet_holds_the_rig_too() -> None:
    run = Rehearsal(plan(keep=1, conditions=(slot("one"),)))
    run.go_on(stop=run.after(1, r.StepAsked))
    assert debts(run) == ["run-1-owes-1-first-pass"]


def test_what_a_person_has_released_is_not_held_again() -> None:
    run = opened()
    run.release()
    run.go_on(stop=run.after(2, r.StepAsked))
    assert debts(run) == []
    assert steps(run)[-1].attend  # but its own runner asks for somebody all the same


def test_a_runner_that_died_before_it_lifted_the_hold_leaves_that_to_the_next(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = opened()
    with monkeypatch.context() as patched:
        patched.setattr(RehearsedBench, "release", die)
        with pytest.raises(Gone):
            run.go_on(attended_by="Ben")
    assert run.of(r.PassJudged)[-1].verdict is Verdict.KEPT
    assert debts(run) == ["run-1-owes-1-first-pass"]
    assert run.go_on() is Outcome.FINISHED
    assert debts(run) == []


def die(*_: object) -> None:
    raise Gone
