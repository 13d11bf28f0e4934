"""What a level changed is put back after every way in which a run can end, or a runner can leave.

The rig remembers what is really in force: its power limit is what the commands have made of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from harness.errors import Problem, RigError, StoreError
from harness.plan import document as d
from harness.rig.crossings import LimitBreached
from harness.rig.readings import Reading, measured
from harness.rig.rehearsed import RehearsedBench
from harness.rig.tasks import (
    CommandEnd,
    EndedBy,
    LevelReport,
    LevelTask,
    PassReport,
    PassTask,
    Release,
)
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan
from tests.run.test_fault_policies import full

STOCK_W, QUIET_W = 300.0, 220.0


def power() -> d.Condition:
    def command(watts: float) -> d.Command:
        return d.Command(argv=("power-limit", f"{watts:.0f}"), time_limit_s=30.0)

    expect = (d.Bound(reading="gpu.power.limit", unit="W", equals=QUIET_W),)
    quiet = d.Level(
        name="quiet", command=command(QUIET_W), put_back=command(STOCK_W), expect=expect
    )
    return d.Condition(name="power", by=d.By.COMMAND, changes=("gpu.power.limit",), levels=(quiet,))


class Gone(BaseException):
    """The runner is gone, as after kill -9."""


@dataclass(kw_only=True)
class Card(RehearsedBench):
    """A rig with a power limit that is really set, and a pass that may end in any way."""

    change: Callable[[PassReport], PassReport] = lambda report: report
    in_pass: int = 2
    undo_fails: bool = False

    def _reading(self, name: str) -> Reading:
        if name == "gpu.power.limit":
            return measured(name, QUIET_W if self.in_force.get("power") else STOCK_W)
        return RehearsedBench._reading(self, name)

    def set_level(self, task: LevelTask) -> LevelReport:
        report = super().set_level(task)
        if task.undo and self.undo_fails:
            failed = CommandEnd(argv=("power-limit",), by=EndedBy.EXIT, wall_s=1.0, status=1)
            return replace(report, end=failed)
        if task.undo:
            self.in_force.pop(task.condition, None)
        return report

    def carry_out(self, task: PassTask, stop: Callable[[], bool]) -> PassReport:
        assert self.in_force == {"power": "quiet"}, "a pass under another power limit"
        report = super().carry_out(task, stop)
        return self.change(report) if len(self.launched) == self.in_pass else report


def also(**parts: Any) -> Callable[[PassReport], PassReport]:
    return lambda report: replace(report, **parts)


def well(report: PassReport) -> PassReport:
    return report


def killed(report: PassReport) -> PassReport:
    raise Gone


def ends(by: EndedBy, **more: Any) -> Callable[[PassReport], PassReport]:
    end = CommandEnd(argv=("title",), by=by, wall_s=5.0, **more)
    return lambda report: replace(report, end=end)


LIMIT = LimitBreached(
    reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=95.0, why=None, at_s=3.0
)
#: How a run may end: what happens in its second pass, the record that says so, the outcome.
ENDS: dict[str, tuple[Callable[[PassReport], PassReport], type[r.Record], Outcome]] = {
    "finished": (well, r.RunFinished, Outcome.FINISHED),
    "finished with a fault": (ends(EndedBy.EXIT, status=3), r.RunFinished, Outcome.FINISHED),
    "held by a limit": (also(limit=LIMIT), r.RigHeld, Outcome.HELD),
    "held by a lost device": (also(device_lost="the card is lost"), r.RigHeld, Outcome.HELD),
    "held by a survivor": (
        ends(EndedBy.EXIT, status=0, survivors=("process 4711",)), r.RigHeld, Outcome.HELD,
    ),
    "held by a file": (also(not_given_back=("conf/quay.ini",)), r.RigHeld, Outcome.HELD),
    "stopped in a pass": (ends(EndedBy.STOPPED), r.RunPaused, Outcome.PAUSED),
}  # fmt: skip


def rehearsed(change: Callable[[PassReport], PassReport] = well, **parts: Any) -> Rehearsal:
    limits = (d.Limit(bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=92.0)),)
    asked = replace(plan(keep=3, at_most=4, conditions=(power(),), **parts), limits=limits)
    run = Rehearsal(asked)
    run.bench = Card(run.clock, run.model, change=change)
    run.model.constants = {"gpu.temperature": 60.0, "cpu.load": 2.0, "disk.free": 100.0}
    return run


def is_put_back(run: Rehearsal) -> None:
    """The rig is as it was before, a record says so, and no debt stands."""
    assert run.bench.in_force == {}
    changes = [x for x in run.records if isinstance(x, (r.LevelOrdered, r.LevelPutBack))]
    assert isinstance(changes[-1], r.LevelPutBack)
    assert changes[-1].problem == ""
    assert [hold.id for hold in run.bench.holds() if "-owes-" in hold.id] == []


@pytest.mark.parametrize("end", ENDS)
def test_a_level_is_put_back_however_the_run_ends(end: str) -> None:
    change, kind, outcome = ENDS[end]
    run = rehearsed(change)
    assert run.go_on() is outcome
    assert run.of(kind)
    is_put_back(run)


def test_a_level_is_put_back_where_the_runner_is_stopped_between_passes() -> None:
    run = rehearsed()
    assert run.go_on(stop=run.after(1, r.PassJudged)) is Outcome.PAUSED
    is_put_back(run)


def test_a_level_is_put_back_where_a_person_asks_the_run_to_stop() -> None:
    run = rehearsed()
    run.go_on(stop=run.after(1, r.PassJudged))
    run.ask(r.RequestKind.STOP)
    assert run.go_on() is Outcome.PAUSED
    is_put_back(run)


@pytest.mark.parametrize(
    ("what", "fault"),
    [
        ({"cpu.load": 50.0}, "gate-gave-up"),
        ({"disk.free": 0.1}, "disk-low"),
        ({"gpu.temperature": 99.0}, "limit"),
    ],
)
def test_a_level_is_put_back_where_a_wait_holds_the_rig(what: dict[str, float], fault: str) -> None:
    gate = d.Gate(
        bound=d.Bound(reading="cpu.load", unit="%", at_most=10.0),
        for_s=0.0, give_up_s=60.0, then=d.Then.HOLD,
    )  # fmt: skip
    run = rehearsed(gates=(gate,))

    def worse(report: PassReport) -> PassReport:
        run.model.constants = {**run.model.constants, **what}
        return report

    assert isinstance(run.bench, Card)
    run.bench.change = worse
    assert run.go_on() is Outcome.HELD
    assert [each.fault for each in run.of(r.RigHeld)] == [fault]
    is_put_back(run)


def test_a_level_is_put_back_where_the_fingerprint_changes() -> None:
    run = rehearsed()

    def updated(report: PassReport) -> PassReport:
        run.bench.fields = {"os.build": "rehearsed 2"}
        return report

    assert isinstance(run.bench, Card)
    run.bench.change = updated
    assert run.go_on() is Outcome.HELD
    assert [each.fault for each in run.of(r.RigHeld)] == ["fingerprint-changed"]
    is_put_back(run)


def test_after_a_kill_a_level_is_put_back_by_the_next_start_before_anything_else() -> None:
    run = rehearsed(killed)
    with pytest.raises(Gone):
        run.go_on()
    assert run.bench.in_force == {"power": "quiet"}  # nobody was there to put it back
    assert any("-owes-power-" in hold.id for hold in run.bench.holds())  # but nobody else may start
    before = len(run.records)
    assert isinstance(run.bench, Card)
    run.bench.change = well
    assert run.go_on() is Outcome.FINISHED
    kinds = [type(record).__name__ for record in run.records[before:]]
    assert kinds[:4] == ["PassEnded", "PassJudged", "RunnerStarted", "LevelPutBack"]
    is_put_back(run)


def test_a_start_that_is_refused_since_the_rig_is_not_ready_has_put_back_before() -> None:
    run = rehearsed(killed)
    with pytest.raises(Gone):
        run.go_on()

    def not_ready() -> None:
        raise RigError(Problem(code="need-not-met", what="the rig is not ready", do="see to it"))

    with pytest.raises(RigError):
        run.go_on(ready=not_ready)
    is_put_back(run)


@pytest.mark.parametrize("at_append", range(4, 12))
def test_a_level_is_put_back_where_the_store_refuses_also_without_a_record(at_append: int) -> None:
    run = rehearsed()
    full(run, at_append)
    with pytest.raises(StoreError):
        run.go_on()
    assert run.bench.in_force == {}
    run.release()
    assert run.go_on() is Outcome.FINISHED
    is_put_back(run)


def test_a_debt_that_a_killed_runner_had_no_time_to_lift_is_lifted_by_the_next(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = rehearsed()

    def die(*_: object) -> None:
        raise Gone

    with monkeypatch.context() as patched:
        patched.setattr(RehearsedBench, "release", die)
        with pytest.raises(Gone):
            run.go_on()
    assert run.bench.in_force == {}
    assert [hold.id for hold in run.bench.holds()] == ["run-1-owes-power-1"]
    assert run.go_on() is Outcome.FINISHED
    is_put_back(run)


def test_what_a_person_has_put_back_by_hand_is_owed_no_more() -> None:
    run = rehearsed()
    assert isinstance(run.bench, Card)
    run.bench.undo_fails = True
    assert run.go_on() is Outcome.HELD
    assert [each.fault for each in run.of(r.RigHeld)] == ["not-put-back"]
    run.bench.in_force.clear()  # by hand
    (hold,) = [each for each in run.bench.holds() if "-owes-" not in each.id]
    run.bench.release(Release(hold=hold.id, by="Ana", note="put back by hand", at=hold.at))
    assert run.go_on() is Outcome.FINISHED
    assert run.bench.holds() == ()
