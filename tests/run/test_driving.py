"""What driving a title leads to for the run: faults that last, files that are owed, limits."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from harness.plan import document as d
from harness.rig.crossings import LimitBreached
from harness.rig.rehearsed import RehearsedBench
from harness.rig.tasks import Leftovers, LevelReport, LevelTask, PassReport
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan
from tests.run.test_machine import levels_by_command

HOT = LimitBreached(
    reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=96.0, why=None, at_s=3.0
)
COOL = d.Limit(bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=92.0))


@dataclass
class Told:
    """The rehearsed bench, with reports changed on their way out."""

    inner: RehearsedBench
    of_pass: Callable[[PassReport], PassReport] = lambda report: report
    of_level: Callable[[LevelTask, LevelReport], LevelReport] = lambda task, report: report
    leftovers: Leftovers | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self.inner, name)

    def recover(self, run: str) -> Leftovers:
        return self.leftovers or self.inner.recover(run)

    def carry_out(self, task: Any, stop: Any) -> PassReport:
        return self.of_pass(self.inner.carry_out(task, stop))

    def set_level(self, task: LevelTask) -> LevelReport:
        return self.of_level(task, self.inner.set_level(task))


def cool(**parts: Any) -> Rehearsal:
    """Return a run under a limit that its rig is far from."""
    run = Rehearsal(plan(keep=1, limits=(COOL,), **parts))
    run.model.constants = {"gpu.temperature": 50.0}
    return run


def test_a_program_that_is_not_there_is_not_tried_again() -> None:
    faults = d.Faults(again=3, stop_after=9)
    run = Rehearsal(plan(titles=2, keep=3, at_most=5, faults=faults), ["not found", 100.0])
    assert run.go_on() is Outcome.FINISHED
    lost, well = run.of(r.CellClosed)
    assert (lost.state, well.state) == (r.CellState.FAILED, r.CellState.ACCEPTED)
    assert lost.reason == (
        "the program of a command is not there; that is not tried again, 0 passes kept"
    )
    assert [each.cell for each in run.of(r.PassStarted)].count(lost.cell) == 1


def test_a_program_that_went_in_mid_run_leaves_its_cell_short() -> None:
    run = Rehearsal(plan(keep=3, at_most=5), [100.0, "not found"])
    run.go_on()
    (closed,) = run.of(r.CellClosed)
    assert (closed.state, len(closed.kept)) == (r.CellState.SHORT, 1)


def test_a_file_that_cannot_be_given_back_holds_the_rig_and_is_named() -> None:
    run = Rehearsal(plan(keep=1))
    owed = ("conf/quay.ini: Permission denied",)
    bench = Told(run.bench, of_pass=lambda x: dataclasses.replace(x, not_given_back=owed))
    assert run.go_on(bench=bench) is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert hold.fault == "files-not-given-back"
    assert "conf/quay.ini: Permission denied" in hold.reason


def test_what_a_crash_left_and_was_given_back_is_on_record() -> None:
    run = Rehearsal(plan(keep=1))
    run.go_on(bench=Told(run.bench, leftovers=Leftovers(given_back=("/games/conf/quay.ini",))))
    assert run.of(r.RunnerStarted)[0].given_back == ("/games/conf/quay.ini",)


def test_the_hold_after_a_limit_names_the_step_it_was_passed_in() -> None:
    run = cool()
    in_step = {"limit": HOT, "limit_step": "prepare 1"}
    bench = Told(run.bench, of_pass=lambda x: dataclasses.replace(x, **in_step))  # type: ignore[arg-type]
    assert run.go_on(bench=bench) is Outcome.HELD
    assert run.of(r.RigHeld)[0].reason.startswith("step prepare 1: gpu.temperature must be at most")
    assert run.of(r.PassEnded)[0].limit_step == "prepare 1"


def test_a_limit_that_is_passed_while_a_level_is_set_holds_the_rig() -> None:
    run = cool(conditions=(levels_by_command(),))
    watched: list[LevelTask] = []

    def hot(task: LevelTask, report: LevelReport) -> LevelReport:
        watched.append(task)
        return report if task.undo else dataclasses.replace(report, limit=HOT)

    assert run.go_on(bench=Told(run.bench, of_level=hot)) is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert (hold.fault, hold.reason.split(":")[0]) == ("limit", f"step power {watched[0].level}")
    assert run.of(r.LevelNotMet)[0].fault == "limit"
    assert watched[0].watch is not None
    assert watched[0].watch.limits == (COOL,)


def test_a_limit_that_is_passed_while_a_level_is_put_back_holds_the_rig_afterwards() -> None:
    levels = levels_by_command()
    quiet = dataclasses.replace(levels, levels=levels.levels[1:])
    run = cool(conditions=(quiet,))

    def hot(task: LevelTask, report: LevelReport) -> LevelReport:
        return dataclasses.replace(report, limit=HOT) if task.undo else report

    assert run.go_on(bench=Told(run.bench, of_level=hot)) is Outcome.HELD
    assert run.of(r.LevelPutBack)[0].problem == "", "it was put back all the same"
    (hold,) = run.of(r.RigHeld)
    assert hold.reason.startswith("step put_back of power quiet: gpu.temperature must be")
