"""What a run does with passes, faults, holds, persons and restarts, over the rehearsed bench."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from harness.plan import document as d
from harness.rig.clock import minute_of_day
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.tasks import CommandEnd, EndedBy, LevelReport, LevelTask
from harness.rig.thermal import Thermal
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.instructions import Outcome
from harness.run.records import CellState
from harness.run.transitions import IllegalTransition
from tests.run.rehearsal import Rehearsal, plan

SPREAD = d.DiscardRule(rule="spread", on="average_fps", more_than=0.03)


def states(run: Rehearsal) -> list[str]:
    return [closed.state.value for closed in run.of(r.CellClosed)]


def test_a_cell_is_accepted_as_soon_as_enough_passes_are_kept() -> None:
    run = Rehearsal(plan(keep=3))
    assert run.go_on() is Outcome.FINISHED
    assert run.verdicts() == ["kept"] * 3
    assert states(run) == ["accepted"]


def test_warm_up_passes_do_not_count() -> None:
    run = Rehearsal(plan(keep=2, at_most=2, warm_up=2))
    assert run.go_on() is Outcome.FINISHED
    assert [s.warm_up for s in run.of(r.PassStarted)] == [True, True, False, False]
    assert states(run) == ["accepted"]


def test_a_void_pass_uses_up_an_attempt_and_is_replaced() -> None:
    run = Rehearsal(plan(keep=2, at_most=3), ["no capture", 100.0, 100.0])
    run.go_on()
    assert run.verdicts() == ["void", "kept", "kept"]
    assert run.of(r.CellClosed)[0].kept == (2, 3)


def test_a_cell_whose_passes_are_used_up_is_short() -> None:
    run = Rehearsal(plan(keep=3, at_most=3), [100.0, "no capture", 100.0])
    run.go_on()
    assert states(run) == ["short"]


def test_a_cell_without_a_kept_pass_is_failed() -> None:
    run = Rehearsal(plan(keep=2, at_most=3), ["exits 3"] * 9)
    assert run.go_on() is Outcome.FINISHED
    assert run.verdicts() == ["failed"] * 3
    assert states(run) == ["failed"]


def test_a_cell_with_kept_passes_whose_warm_ups_then_fail_is_short() -> None:
    run = Rehearsal(plan(keep=2, at_most=2, warm_up=1), [100.0, 100.0])
    run.go_on(stop=run.after(2, r.PassJudged))
    run.model.deeds = ["exits 3"] * 9
    run.go_on()
    (closed,) = run.of(r.CellClosed)
    assert (closed.state, closed.kept) == (CellState.SHORT, (2,))


def test_a_fault_is_tried_again_at_once_before_the_next_cell_has_its_turn() -> None:
    run = Rehearsal(plan(titles=2, keep=1, faults=d.Faults(again=1)), ["exits 3", 100.0])
    run.go_on()
    cells = [s.cell for s in run.of(r.PassStarted)]
    assert cells[0] == cells[1] != cells[2]


def test_the_same_fault_in_enough_cells_in_a_row_holds_the_rig() -> None:
    faults = d.Faults(again=0, stop_after=3)
    run = Rehearsal(plan(titles=5, faults=faults), ["not found"] * 99)
    assert run.go_on() is Outcome.HELD
    assert len(run.of(r.PassStarted)) == 3
    assert run.of(r.RigHeld)[0].fault == "not-found"
    assert run.bench.holds()


def test_a_good_pass_between_two_faults_breaks_the_row() -> None:
    faults = d.Faults(again=0, stop_after=2)
    run = Rehearsal(plan(titles=3, keep=1, at_most=2, faults=faults), ["exits 3", 100.0, "exits 3"])
    assert run.go_on() is Outcome.FINISHED


def test_two_different_faults_do_not_make_a_row() -> None:
    faults = d.Faults(again=0, stop_after=2)
    run = Rehearsal(plan(titles=2, keep=1, faults=faults), ["exits 3", "not found"])
    assert run.go_on() is Outcome.FINISHED


def test_then_hold_holds_the_rig_once_the_tries_are_used_up() -> None:
    faults = d.Faults(again=1, then=d.FaultThen.HOLD)
    run = Rehearsal(plan(titles=2, faults=faults), ["exits 3", "exits 3"])
    assert run.go_on() is Outcome.HELD
    assert len(run.of(r.PassStarted)) == 2


def test_nothing_runs_on_a_held_rig_until_it_is_released() -> None:
    run = Rehearsal(plan(), ["survives"])
    assert run.go_on() is Outcome.HELD
    before = len(run.bench.launched)
    assert run.go_on() is Outcome.HELD
    assert len(run.bench.launched) == before
    run.release()
    assert run.go_on() is Outcome.FINISHED
    assert run.of(r.RigReleased)[0].by == "Ana"


def test_a_hold_that_was_recorded_and_not_yet_made_to_stand_is_made_to_stand_later() -> None:
    run = Rehearsal(plan(), ["survives"])
    run.go_on()
    run.bench._holds.clear()  # as if the runner had been killed between the two
    assert run.go_on() is Outcome.HELD
    assert run.bench.holds()


def test_a_pass_far_from_the_others_is_discarded_by_rule_and_replaced() -> None:
    run = Rehearsal(plan(keep=3, discard=(SPREAD,)), [100.0, 80.0, 100.5, 100.2])
    run.go_on()
    (gone,) = run.of(r.PassDiscarded)
    assert (gone.attempt, gone.discarded) == (2, True)
    assert run.of(r.CellClosed)[0].kept == (1, 3, 4)


def test_a_discard_stands_even_if_later_passes_agree_with_it() -> None:
    rule = d.DiscardRule(rule="spread", on="average_fps", more_than=0.03, at_most=1)
    run = Rehearsal(plan(keep=3, discard=(rule,)), [100.0, 80.0, 100.0, 80.0])
    run.go_on()
    found = {finding.attempt: finding.discarded for finding in run.of(r.PassDiscarded)}
    assert found == {2: True, 4: False}
    assert run.of(r.CellClosed)[0].kept == (1, 3, 4)


def test_rounds_give_every_cell_one_pass_before_any_has_two() -> None:
    run = Rehearsal(plan(titles=4, keep=3))
    run.go_on()
    cells = [s.cell for s in run.of(r.PassStarted)]
    assert all(len(set(cells[n : n + 4])) == 4 for n in (0, 4, 8))


def test_the_order_of_the_rounds_is_the_same_for_the_same_seed() -> None:
    first, second = Rehearsal(plan(titles=5)), Rehearsal(plan(titles=5))
    first.go_on()
    second.go_on()
    assert first.bench.launched == second.bench.launched


def test_a_stop_leaves_the_run_paused_and_the_next_runner_goes_on() -> None:
    run = Rehearsal(plan(titles=2))
    assert run.go_on(stop=run.after(2, r.PassJudged)) is Outcome.PAUSED
    assert len(run.verdicts()) == 2
    assert run.go_on() is Outcome.FINISHED
    assert states(run) == ["accepted", "accepted"]


def test_a_pass_the_runner_did_not_see_end_is_interrupted_and_does_not_count() -> None:
    run = Rehearsal(plan(keep=2, at_most=2))
    group = r.GroupOpened(group=1, fields=(("os.build", "rehearsed 1"),))
    block = r.BlockOpened(block=0)
    cell = next(iter(run.folded().progress))
    started = r.PassStarted(
        cell=cell, attempt=1, warm_up=False, group=1, block=0, round=1, waited_s=0.0, readings=()
    )
    run.journal.append(
        [group, block, r.RoundStarted(round=1, cells=(cell,)), started],
        at=run.clock.now(),
        boot=run.boot,
    )
    assert run.go_on() is Outcome.FINISHED
    first = run.of(r.PassJudged)[0]
    assert (first.attempt, first.verdict) == (1, Verdict.INTERRUPTED)
    assert run.of(r.CellClosed)[0].kept == (2, 3)
    assert states(run) == ["accepted"]


def test_a_changed_fingerprint_holds_the_rig_and_opens_a_group_after_the_release() -> None:
    run = Rehearsal(plan(keep=3))
    run.go_on(stop=run.after(2, r.PassJudged))
    run.bench.fields["gpu.driver"] = "560.70"
    run.bench.fields["os.build"] = "rehearsed 2"
    assert run.go_on() is Outcome.HELD
    held = run.of(r.RigHeld)[0]
    assert held.fault == "fingerprint-changed"
    assert "'rehearsed 1', is 'rehearsed 2'" in held.reason
    run.release()
    assert run.go_on() is Outcome.FINISHED
    closed = run.of(r.CellClosed)[0]
    assert (closed.group, len(closed.kept)) == (2, 3)


def test_a_field_a_level_is_meant_to_change_does_not_hold_the_rig() -> None:
    changing = d.Condition(
        name="power",
        by=d.By.COMMAND,
        changes=("gpu.power.limit",),
        levels=(d.Level(name="stock"), d.Level(name="quiet")),
    )
    run = Rehearsal(plan(keep=1, conditions=(changing,)))
    run.bench.fields["gpu.power.limit"] = "300 W"
    run.go_on(stop=run.after(1, r.PassJudged))
    run.bench.fields["gpu.power.limit"] = "220 W"
    assert run.go_on() is Outcome.FINISHED


@pytest.mark.parametrize(
    ("changes", "outcome"), [(("title.build",), Outcome.FINISHED), ((), Outcome.HELD)]
)
def test_a_build_may_change_where_a_level_is_meant_to_change_builds(
    changes: tuple[str, ...], outcome: Outcome
) -> None:
    patch = d.Condition(
        name="patch",
        by=d.By.COMMAND,
        changes=changes,
        levels=(d.Level(name="before"), d.Level(name="after")),
    )
    run = Rehearsal(plan(titles=2, keep=2, conditions=(patch,)))
    run.go_on(stop=run.after(2, r.PassJudged))
    # The fingerprint has a field for each title's own build; the plan means all of them.
    run.model.build = lambda title: f"{title.title} 1.1"
    assert run.go_on() is outcome
    assert [held.fault for held in run.of(r.RigHeld)] == (
        [] if outcome is Outcome.FINISHED else ["fingerprint-changed"]
    )


def operator(*names: str, reboot: bool = False) -> d.Condition:
    return d.Condition(
        name="slot",
        by=d.By.OPERATOR,
        levels=tuple(d.Level(name=name, say=f"Card in {name}.") for name in names),
        reboot=reboot,
    )


def test_a_person_is_asked_only_when_every_cell_of_the_block_is_closed() -> None:
    run = Rehearsal(plan(titles=2, keep=2, conditions=(operator("one", "two"),)))
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    kinds = [type(rec) for rec in run.records]
    second = [n for n, kind in enumerate(kinds) if kind is r.StepAsked][1]
    assert kinds[:second].count(r.CellClosed) == 2
    assert [step.say for step in run.of(r.StepAsked)] == [("Card in one.",), ("Card in two.",)]


def test_two_visits_go_through_the_levels_twice() -> None:
    order = d.Order(visits=2)
    run = Rehearsal(plan(keep=4, conditions=(operator("one", "two"),), order=order))
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    assert [step.levels[0][1] for step in run.of(r.StepAsked)] == ["one", "two", "one", "two"]
    cells = [s.cell for s in run.of(r.PassStarted)]
    assert [cells[n] for n in (0, 2, 4, 6)] == [cells[0], cells[2], cells[0], cells[2]]


@pytest.mark.parametrize(
    ("hours", "asked_at"),
    [((480, 1320), 20 * 60), ((480, 1080), 8 * 60), ((1320, 360), 22 * 60)],
    ids=["within the hours", "the next morning", "hours over midnight"],
)
def test_a_person_is_asked_only_within_the_hours_of_the_plan(
    hours: tuple[int, int], asked_at: int
) -> None:
    person = d.Person(from_minute=hours[0], to_minute=hours[1])
    run = Rehearsal(plan(keep=1, conditions=(operator("one"),), person=person))  # it is 20:00
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    (asked,) = [x.at for x in run.journal.entries() if isinstance(x.record, r.StepAsked)]
    assert 60 * asked.hour + asked.minute == asked_at


def test_a_persons_hours_are_those_of_the_zone_of_the_plans_night() -> None:
    class Wall(RehearsedClock):
        def local_minute(self, zone: str = "") -> int:
            return minute_of_day(self.now(), zone)

    asks = plan(
        keep=1,
        conditions=(operator("one"),),
        person=d.Person(from_minute=8 * 60, to_minute=9 * 60),
        night=d.Night(start_minute=0, end_minute=420, days=(), zone="Asia/Tokyo"),
    )
    run = Rehearsal(asks, clock=Wall())  # it is 20:00 UTC, which is 05:00 in Tokyo
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    (asked,) = [x.at for x in run.journal.entries() if isinstance(x.record, r.StepAsked)]
    assert (asked.hour, asked.minute) == (23, 0)


def test_a_confirmation_before_a_newer_boot_is_refused_where_one_is_wanted() -> None:
    run = Rehearsal(plan(keep=1, conditions=(operator("one", reboot=True),)))
    assert run.go_on(stop=run.after(1, r.StepAsked)) is Outcome.PAUSED
    run.ask(r.RequestKind.CONFIRM, step=1)
    assert run.go_on(stop=run.after(1, r.RequestAnswered)) is Outcome.PAUSED
    (answer,) = run.of(r.RequestAnswered)
    assert not answer.accepted
    assert "started anew" in answer.answer
    run.boot = "boot-2"
    run.ask(r.RequestKind.CONFIRM, step=1)
    assert run.go_on() is Outcome.FINISHED


def test_a_level_that_cannot_be_read_is_asked_again_after_a_restart() -> None:
    run = Rehearsal(plan(keep=2, conditions=(operator("one"),)))
    run.clock.person = run.confirms()
    run.go_on(stop=run.after(1, r.PassJudged))
    assert len(run.of(r.StepAsked)) == 1
    run.go_on()
    assert len(run.of(r.StepAsked)) == 2


def levels_by_command() -> d.Condition:
    def command(watts: str) -> d.Command:
        return d.Command(argv=("power-limit", watts), time_limit_s=30.0)

    bound = d.Bound(reading="gpu.power.limit", unit="W", equals=220.0)
    return d.Condition(
        name="power",
        by=d.By.COMMAND,
        levels=(
            d.Level(name="stock", command=command("300")),
            d.Level(name="quiet", command=command("220"), put_back=command("300"), expect=(bound,)),
        ),
    )


def test_a_level_is_on_record_before_its_command_runs_and_is_put_back_at_the_end() -> None:
    run = Rehearsal(
        plan(keep=1, conditions=(levels_by_command(),), order=d.Order(by=d.OrderBy.PLAN))
    )
    assert run.go_on() is Outcome.FINISHED
    kinds = [type(rec).__name__ for rec in run.records]
    assert kinds.index("LevelOrdered") < kinds.index("LevelVerified")
    assert kinds[-1] == "LevelPutBack"


def test_a_level_left_by_a_dead_runner_is_put_back_before_anything_else() -> None:
    run = Rehearsal(plan(keep=1, conditions=(levels_by_command(),)))
    run.journal.append(
        [
            r.GroupOpened(group=1, fields=(("os.build", "rehearsed 1"),)),
            r.BlockOpened(block=0),
            r.LevelOrdered(condition="power", level="quiet"),
        ],
        at=run.clock.now(),
        boot=run.boot,
    )
    run.go_on()
    kinds = [type(rec).__name__ for rec in run.records][4:]
    assert kinds[:2] == ["RunnerStarted", "LevelPutBack"]


def test_a_level_that_is_not_met_is_tried_again_and_then_holds_the_rig() -> None:
    run = Rehearsal(plan(keep=1, conditions=(levels_by_command(),), faults=d.Faults(again=1)))
    run.model.constants = {"gpu.power.limit": 300.0}
    assert run.go_on() is Outcome.HELD
    assert len(run.of(r.LevelNotMet)) == 2
    assert "gpu.power.limit must be 220 W, is 300 W" in run.of(r.RigHeld)[0].reason


def test_a_rerun_measures_again_and_keeps_what_was_there() -> None:
    run = Rehearsal(plan(keep=2))
    run.go_on()
    (closed,) = run.of(r.CellClosed)
    run.ask(r.RequestKind.RERUN, cells=(closed.cell,), note="looked odd")
    assert run.go_on() is Outcome.FINISHED
    assert run.of(r.CellReopened)[0].superseded == (1, 2)
    assert [c.kept for c in run.of(r.CellClosed)] == [(1, 2), (3, 4)]


GATE = d.Bound(reading="gpu.temperature", unit="°C", at_most=50.0)


@pytest.mark.parametrize(
    ("then", "outcome", "verdicts"),
    [
        (d.Then.MARK, Outcome.FINISHED, ["kept"]),
        (d.Then.SKIP, Outcome.FINISHED, []),
        (d.Then.HOLD, Outcome.HELD, []),
    ],
)
def test_a_gate_that_gives_up_is_followed_by_what_the_plan_says(
    then: d.Then, outcome: Outcome, verdicts: list[str]
) -> None:
    gate = d.Gate(bound=GATE, for_s=5.0, give_up_s=60.0, then=then)
    run = Rehearsal(plan(keep=1, at_most=1, gates=(gate,)))
    run.model.parts = {"gpu.temperature": Thermal(room_c=52.0, hot_c=80.0, tau_s=60.0)}
    run.bench.temperatures["gpu.temperature"] = 75.0
    assert run.go_on() is outcome
    assert run.verdicts() == verdicts
    if then is d.Then.MARK:
        assert "gate-gave-up" in run.of(r.PassJudged)[0].marks[0]


def test_a_limit_passed_during_a_pass_voids_it_and_holds_the_rig() -> None:
    limit = d.Limit(bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=70.0))
    run = Rehearsal(plan(keep=1, limits=(limit,)))
    run.model.parts = {"gpu.temperature": Thermal(room_c=20.0, hot_c=95.0, tau_s=5.0)}
    assert run.go_on() is Outcome.HELD
    assert run.verdicts() == ["void"]
    assert run.of(r.RigHeld)[0].fault == "limit"


def test_the_state_is_the_fold_of_the_records() -> None:
    run = Rehearsal(
        plan(titles=3, warm_up=1, discard=(SPREAD,)), [100.0, "exits 3", 80.0, "no capture"]
    )
    run.go_on()
    assert run.loop.state == run.folded()


def test_no_rule_runs_in_the_fold(monkeypatch: pytest.MonkeyPatch) -> None:
    run = Rehearsal(plan(discard=(SPREAD,)), [100.0, 80.0])
    run.go_on()

    def never(*args: object, **kwargs: object) -> None:
        raise AssertionError("a rule ran")

    monkeypatch.setattr("harness.run.closing.find", never)
    monkeypatch.setattr("harness.run.decide.judge", never)
    assert run.folded() == run.loop.state


def test_a_finished_run_counts_its_cells() -> None:
    run = Rehearsal(plan(titles=2, keep=1, at_most=1), ["no capture"])
    run.go_on()
    (finished,) = run.of(r.RunFinished)
    assert (finished.accepted, finished.short, finished.failed) == (1, 0, 1)
    assert run.loop.state.closed[CellState.ACCEPTED] == 1


def test_a_request_to_a_paused_run_waits_for_its_next_runner() -> None:
    run = Rehearsal(plan(titles=2))
    assert run.go_on(stop=run.after(1, r.PassJudged)) is Outcome.PAUSED
    run.ask(r.RequestKind.CONFIRM, step=1)
    run.loop.answer_requests()
    assert not run.of(r.RequestAnswered)
    assert run.go_on() is Outcome.FINISHED
    assert [answer.accepted for answer in run.of(r.RequestAnswered)] == [False]


def test_a_record_the_table_does_not_allow_is_never_kept() -> None:
    run = Rehearsal(plan())
    run.go_on()
    before = run.records
    with pytest.raises(IllegalTransition):
        run.loop.keep([r.RunnerStarted(), r.RunPaused(reason="a bug")])
    assert run.records == before


def test_a_release_accepts_only_the_change_its_hold_has_named() -> None:
    run = Rehearsal(plan(keep=3))
    run.go_on(stop=run.after(1, r.PassJudged))
    run.bench.fields["os.build"] = "rehearsed 2"
    assert run.go_on() is Outcome.HELD
    run.release()
    run.bench.fields["os.build"] = "rehearsed 1"
    run.bench.fields["firmware.version"] = "7"
    run.go_on(stop=run.after(2, r.PassJudged))
    run.bench.fields["firmware.version"] = "8"
    assert run.go_on() is Outcome.HELD
    assert "firmware.version" in run.of(r.RigHeld)[-1].reason


def test_the_needs_of_a_persons_level_are_read_after_its_step() -> None:
    need = d.Bound(reading="memory.available", unit="GiB", at_least=32.0)
    level = d.Level(name="one", say="More memory.", needs=(need,))
    condition = d.Condition(name="memory", by=d.By.OPERATOR, levels=(level,))
    run = Rehearsal(plan(keep=1, conditions=(condition,)))
    run.model.constants = {"memory.available": 16.0}
    run.clock.person = run.confirms()
    run.go_on(stop=run.after(2, r.StepAsked))
    assert not run.of(r.PassStarted)
    assert "memory.available must be at least 32 GiB" in run.of(r.StepAsked)[1].why


def test_a_cell_that_begins_anew_has_all_its_visits_again() -> None:
    order = d.Order(visits=2)
    run = Rehearsal(plan(keep=4, at_most=8, conditions=(operator("one", "two"),), order=order))
    run.clock.person = run.confirms()
    run.go_on(stop=run.after(5, r.PassJudged))  # in the second visit to the first level
    run.bench.fields["os.build"] = "rehearsed 2"
    assert run.go_on() is Outcome.HELD
    run.release()
    assert run.go_on() is Outcome.FINISHED
    stays: dict[str, list[int]] = {}
    opened = 0
    for record in run.records:
        if isinstance(record, r.BlockOpened):
            opened += 1
        if isinstance(record, r.PassStarted) and record.group == 2:
            stays.setdefault(record.cell, []).append(opened)
    assert [len(passes) for passes in stays.values()] == [4, 4]
    assert all(len(set(passes)) == 2 for passes in stays.values())


def test_a_level_is_put_back_before_a_person_is_asked_to_touch_the_rig() -> None:
    conditions = (levels_by_command(), operator("one", "two"))
    run = Rehearsal(plan(keep=1, conditions=conditions, order=d.Order(by=d.OrderBy.PLAN)))
    run.clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    kinds = [type(record).__name__ for record in run.records]
    second = [n for n, kind in enumerate(kinds) if kind == "StepAsked"][1]
    assert kinds[second - 1] == "LevelPutBack"


def test_what_could_not_be_put_back_on_a_hold_is_named_and_tried_again() -> None:
    levels = levels_by_command()
    quiet = dataclasses.replace(levels, levels=levels.levels[1:])
    run = Rehearsal(plan(keep=1, conditions=(quiet,)), ["survives"])
    bench = FailingPutBack(run.bench)
    assert run.go_on(bench=bench) is Outcome.HELD
    (hold,) = [each for each in run.bench.holds() if "-owes-" not in each.id]
    assert "power quiet changed could NOT be put back" in hold.reason
    run.release()
    assert run.go_on() is Outcome.FINISHED
    assert [back.problem == "" for back in run.of(r.LevelPutBack)] == [False, True, True]


class FailingPutBack:
    """The rehearsed bench, whose every put_back ends with status 1."""

    def __init__(self, inner: RehearsedBench) -> None:
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def set_level(self, task: LevelTask) -> LevelReport:
        if not task.undo or task.command is None:
            return self._inner.set_level(task)
        end = CommandEnd(argv=task.command.argv, by=EndedBy.EXIT, wall_s=1.0, status=1)
        return LevelReport(end=end, readings=())


def test_a_changed_rig_is_held_against_every_other_run_until_it_is_put_back() -> None:
    run = Rehearsal(plan(keep=1, conditions=(levels_by_command(),)))
    seen: list[int] = []
    carry_out = run.bench.carry_out

    class Watched:
        def __getattr__(self, name: str) -> Any:
            return getattr(run.bench, name)

        def carry_out(self, task: Any, stop: Any) -> Any:
            levels = dict(task.cell.levels)
            seen.append(len(run.bench.holds()) if levels["power"] == "quiet" else -1)
            return carry_out(task, stop)

    assert run.go_on(bench=Watched()) is Outcome.FINISHED
    assert [count for count in seen if count >= 0] == [1]
    assert run.bench.holds() == ()


def test_the_rig_is_asked_whether_it_is_ready_only_after_everything_is_put_back() -> None:
    run = Rehearsal(plan(keep=1, conditions=(levels_by_command(),)))
    run.journal.append(
        [
            r.GroupOpened(group=1, fields=(("os.build", "rehearsed 1"),)),
            r.BlockOpened(block=0),
            r.LevelOrdered(condition="power", level="quiet"),
        ],
        at=run.clock.now(),
        boot=run.boot,
    )
    owed: list[dict[str, str]] = []
    run.go_on(ready=lambda: owed.append(dict(run.loop.state.put_back)))
    assert owed == [{}]


def test_a_field_that_can_no_longer_be_read_holds_the_rig_with_the_old_text_and_why() -> None:
    # A driver updated under a running kernel no longer answers: that is a change of the rig.
    run = Rehearsal(plan(keep=3))
    run.bench.fields["gpu.driver"] = "560.70"
    run.go_on(stop=run.after(2, r.PassJudged))
    run.bench.unreadable["gpu.driver"] = "the driver and its library differ in version"
    assert run.go_on() is Outcome.HELD
    held = run.of(r.RigHeld)[0]
    assert held.fault == "fingerprint-changed"
    assert "gpu.driver was '560.70', cannot be read now: the driver and its" in held.reason
    run.release()
    assert run.go_on() is Outcome.FINISHED
    opened = run.of(r.GroupOpened)[-1]
    assert opened.group == 2
    assert "gpu.driver" not in dict(opened.fields)
    assert dict(opened.unread)["gpu.driver"].startswith("the driver and its library")


def test_a_field_that_could_never_be_read_holds_nothing_and_is_kept_with_its_reason() -> None:
    run = Rehearsal(plan(keep=2))
    run.bench.unreadable["memory.speed"] = "this account may not read the firmware's table"
    assert run.go_on() is Outcome.FINISHED
    opened = run.of(r.GroupOpened)[0]
    assert opened.unread == (("memory.speed", "this account may not read the firmware's table"),)


def test_the_memory_back_at_its_default_rate_holds_the_rig() -> None:
    run = Rehearsal(plan(keep=3))
    run.bench.fields["memory.speed"] = "6000 MT/s"
    run.go_on(stop=run.after(1, r.PassJudged))
    run.bench.fields["memory.speed"] = "4800 MT/s"
    assert run.go_on() is Outcome.HELD
    assert "was '6000 MT/s', is '4800 MT/s'" in run.of(r.RigHeld)[0].reason


def test_two_versions_that_are_one_number_are_two_texts() -> None:
    run = Rehearsal(plan(keep=3))
    run.bench.fields["gpu.driver"] = "560.70"
    run.go_on(stop=run.after(1, r.PassJudged))
    run.bench.fields["gpu.driver"] = "560.7"
    assert run.go_on() is Outcome.HELD


def test_a_plug_that_falls_out_in_the_night_holds_the_rig_before_the_next_pass() -> None:
    run = Rehearsal(plan(keep=3))
    run.bench.fields["power.source"] = "mains"
    run.go_on(stop=run.after(1, r.PassJudged))
    run.bench.fields["power.source"] = "battery"
    assert run.go_on() is Outcome.HELD
    assert len(run.verdicts()) == 1


def test_a_new_group_begins_with_a_warm_up_where_the_plan_has_any() -> None:
    # Caches thrown away by a patch make a second first pass.
    run = Rehearsal(plan(keep=2, at_most=4, warm_up=1))
    run.go_on(stop=run.after(2, r.PassJudged))
    run.bench.fields["gpu.driver"] = "560.70"
    run.bench.fields["os.build"] = "rehearsed 2"
    run.go_on()
    run.release()
    assert run.go_on() is Outcome.FINISHED
    after = [started.warm_up for started in run.of(r.PassStarted) if started.group == 2]
    assert after == [True, False, False]
