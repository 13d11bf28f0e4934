"""Every fault by name: its verdict, whether it holds the rig, whether the pass is tried again.

The table is the policy. Each fault is brought about once, in the first pass of a cell that
wants one kept pass, under ``faults: {again: 1, then: next-cell}``.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import pytest

from harness.errors import Problem, StoreError
from harness.plan import document as d
from harness.rig.crossings import GuardBreached, LimitBreached
from harness.rig.readings import measured
from harness.rig.rehearsed import RehearsedBench
from harness.rig.tasks import CommandEnd, EndedBy, PassReport, PassTask
from harness.rules.faults import FAULTS
from harness.rules.judgement import Measured
from harness.rules.rehearsed_meter import rehearsed_meter
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan

HEAT = d.Bound(reading="gpu.temperature", unit="°C", at_most=92.0)
LOAD = d.Gate(
    bound=d.Bound(reading="cpu.load", unit="%", at_most=10.0),
    for_s=0.0, give_up_s=60.0, then=d.Then.SKIP,
)  # fmt: skip


def ended(by: EndedBy, **more: Any) -> Callable[[PassReport], PassReport]:
    end = CommandEnd(argv=("title",), by=by, wall_s=5.0, **more)
    return lambda report: replace(report, end=end)


def also(**parts: Any) -> Callable[[PassReport], PassReport]:
    return lambda report: replace(report, **parts)


def survives(report: PassReport) -> PassReport:
    return replace(report, end=replace(report.end, survivors=("process 4711 title",)))


def breach(value: float | None) -> LimitBreached:
    return LimitBreached(
        reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=value,
        why=None if value is not None else "no answer", at_s=3.0,
    )  # fmt: skip


GUARD = GuardBreached(
    guard=0, reading="cpu.load", bound="at most 15 %", share=0.4, samples=4, measured=10,
    worst=77.0, unit="%",
)  # fmt: skip


@dataclass(kw_only=True)
class FaultyBench(RehearsedBench):
    """A rehearsed rig whose first pass goes as it is told."""

    change: Callable[[PassReport], PassReport] = lambda report: report
    every: bool = False  #: so does every other

    def carry_out(self, task: PassTask, stop: Callable[[], bool]) -> PassReport:
        report = super().carry_out(task, stop)
        return self.change(report) if self.every or len(self.launched) == 1 else report


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """What a fault comes to.

    ``verdict`` is of the first pass, None where there is none; ``holds`` says that nothing
    more is done until a person releases the rig; ``again`` that the same cell is tried again
    without a person.
    """

    verdict: str | None
    holds: bool
    again: bool


VOID_AGAIN = Policy(verdict="void", holds=False, again=True)
VOID_HELD = Policy(verdict="void", holds=True, again=False)
FAILED_AGAIN = Policy(verdict="failed", holds=False, again=True)
FAILED_FOR_GOOD = Policy(verdict="failed", holds=False, again=False)
HELD_BEFORE = Policy(verdict=None, holds=True, again=False)

#: What the report of the pass says, by fault, and what is to come of it.
IN_THE_REPORT: dict[str, tuple[Callable[[PassReport], PassReport], Policy]] = {
    "not-found": (ended(EndedBy.NOT_FOUND), FAILED_FOR_GOOD),
    "not-executable": (ended(EndedBy.NOT_EXECUTABLE), FAILED_FOR_GOOD),
    "not-started": (ended(EndedBy.NOT_STARTED), FAILED_AGAIN),
    "exited": (ended(EndedBy.EXIT, status=3), FAILED_AGAIN),
    "signal": (ended(EndedBy.SIGNAL, signal="SIGSEGV"), FAILED_AGAIN),
    "timed-out": (ended(EndedBy.TIME_LIMIT), FAILED_AGAIN),
    "silent": (ended(EndedBy.SILENT), FAILED_AGAIN),
    "still": (ended(EndedBy.STILL), FAILED_AGAIN),
    "slept": (also(slept_s=600.0), VOID_AGAIN),
    "guard": (also(guards=(GUARD,)), VOID_AGAIN),
    "limit": (also(limit=breach(95.0)), VOID_HELD),
    "sensor-lost": (also(limit=breach(None)), VOID_HELD),
    "device-lost": (also(device_lost="the card is lost"), VOID_HELD),
    "rig-not-quiet": (survives, VOID_HELD),
}
#: What the captures say.
IN_THE_CAPTURE = ("no-capture", "stale-capture", "unreadable-capture", "short-capture")


def rehearsed(**parts: Any) -> Rehearsal:
    limits = (d.Limit(bound=HEAT),)
    run = Rehearsal(replace(plan(keep=1, at_most=3, gates=(LOAD,)), limits=limits))
    run.bench = FaultyBench(run.clock, run.model, **parts)
    run.model.constants = {"cpu.load": 2.0, "gpu.temperature": 60.0}
    return run


def holds_to(run: Rehearsal, fault: str, policy: Policy, outcome: Outcome) -> None:
    """Hold a run against the policy of *fault*, and see the one record that names it."""
    assert fault in FAULTS
    assert outcome is (Outcome.HELD if policy.holds else Outcome.FINISHED)
    first = run.of(r.PassJudged)[:1]
    assert [each.verdict.value for each in first] == [policy.verdict][: policy.verdict is not None]
    if policy.verdict is not None:
        assert first[0].fault == fault
        assert first[0].reason
    holds = run.of(r.RigHeld)
    assert [each.fault for each in holds] == [fault] * policy.holds
    assert [hold.id for hold in run.bench.holds()] == [each.hold for each in holds]
    assert all(each.do for each in holds)
    attempts = run.of(r.PassStarted)
    assert len(attempts) == (policy.verdict is not None) + policy.again
    if not policy.holds:
        [closed] = run.of(r.CellClosed)
        assert (closed.state is r.CellState.ACCEPTED) is policy.again
        return
    run.model.constants = {"cpu.load": 2.0, "gpu.temperature": 60.0, "disk.free": 100.0}
    run.release()
    assert run.go_on() is Outcome.FINISHED  # a release goes on, and the cell is measured
    assert run.verdicts()[-1] == "kept"


@pytest.mark.parametrize("fault", IN_THE_REPORT)
def test_a_fault_of_a_pass_has_its_policy(fault: str) -> None:
    change, policy = IN_THE_REPORT[fault]
    run = rehearsed(change=change)
    holds_to(run, fault, policy, run.go_on())


@pytest.mark.parametrize("fault", IN_THE_CAPTURE)
def test_a_capture_that_cannot_be_taken_makes_the_pass_void_and_it_is_tried_again(
    fault: str,
) -> None:
    run = rehearsed()
    well = rehearsed_meter(run.bench)

    def meter(task: PassTask, report: PassReport) -> Measured:
        if len(run.bench.launched) == 1:
            return Measured(problem="not to be taken", fault=fault)
        return well(task, report)

    run.meter = meter
    holds_to(run, fault, VOID_AGAIN, run.go_on())


# --- the same fault in so many cells in a row ------------------------------------------------

#: Faults that end a pass without holding the rig by themselves: a row of them does.
IN_A_ROW = [name for name, (_, policy) in IN_THE_REPORT.items() if policy.verdict == "failed"]


def five_cells(*, again: int = 1, **parts: Any) -> Rehearsal:
    faults = d.Faults(again=again, then=d.FaultThen.NEXT_CELL, stop_after=3)
    run = Rehearsal(plan(titles=5, keep=2, at_most=4, faults=faults, **parts))
    run.bench = FaultyBench(run.clock, run.model, every=True)
    run.model.constants = {"cpu.load": 2.0, "gpu.temperature": 60.0, "disk.free": 100.0}
    return run


def is_held_after_three(run: Rehearsal, fault: str, *, passes: int) -> None:
    assert run.go_on() is Outcome.HELD
    [hold] = run.of(r.RigHeld)
    assert hold.fault == fault
    assert hold.do == FAULTS[fault].do
    labels = [run.folded().grid.cells[each.cell].label for each in run.of(r.PassStarted)]
    three = list(dict.fromkeys(labels))
    assert len(three) == 3
    assert hold.reason.startswith(f"the same fault in 3 cells in a row ({'; '.join(three)}): ")
    assert len(labels) == passes
    [standing] = run.bench.holds()
    assert (standing.reason, standing.do) == (hold.reason, hold.do)


@pytest.mark.parametrize("fault", IN_A_ROW)
def test_a_fault_in_three_cells_in_a_row_holds_the_rig_and_names_them(fault: str) -> None:
    change, policy = IN_THE_REPORT[fault]
    run = five_cells()
    assert isinstance(run.bench, FaultyBench)
    run.bench.change = change
    is_held_after_three(run, fault, passes=6 if policy.again else 3)


def test_a_row_of_one_cell_is_called_one_cell() -> None:
    run = five_cells()
    run.plan = replace(run.plan, faults=replace(run.plan.faults, stop_after=1))
    run.meter = lambda task, report: Measured(problem="not to be taken", fault="no-capture")
    assert run.go_on() is Outcome.HELD
    [hold] = run.of(r.RigHeld)
    assert hold.reason.startswith("the same fault in 1 cell (")


@pytest.mark.parametrize("fault", IN_THE_CAPTURE)
def test_a_recorder_that_is_gone_burns_no_grid(fault: str) -> None:
    run = five_cells()
    run.meter = lambda task, report: Measured(problem="not to be taken", fault=fault)
    is_held_after_three(run, fault, passes=3)


@pytest.mark.parametrize("fault", ["guard", "slept"])
def test_what_the_rig_or_the_scene_does_to_a_pass_makes_no_row(fault: str) -> None:
    run = five_cells()
    assert isinstance(run.bench, FaultyBench)
    run.bench.change, _ = IN_THE_REPORT[fault]
    assert run.go_on() is Outcome.FINISHED
    assert run.of(r.RigHeld) == []


def test_a_capture_that_is_good_once_breaks_the_row() -> None:
    run = five_cells()
    well = rehearsed_meter(run.bench)

    def meter(task: PassTask, report: PassReport) -> Measured:
        if len(run.bench.launched) % 3 == 0:
            return well(task, report)
        return Measured(problem="not to be taken", fault="no-capture")

    run.meter = meter
    assert run.go_on() is Outcome.FINISHED


def test_a_jump_of_the_clock_makes_the_pass_void_and_it_is_tried_again() -> None:
    from tests.run.test_clock_jumps import JumpingClock

    run = Rehearsal(plan(keep=1, at_most=3), clock=JumpingClock(jumps=[(4.0, -3600.0)]))
    holds_to(run, "clock-jumped", VOID_AGAIN, run.go_on())


def test_a_gate_that_gives_up_skips_marks_or_holds_as_the_plan_says() -> None:
    for then, verdicts, outcome in (
        (d.Then.SKIP, [], Outcome.FINISHED),
        (d.Then.MARK, ["kept"], Outcome.FINISHED),
        (d.Then.HOLD, [], Outcome.HELD),
    ):
        run = Rehearsal(plan(keep=1, at_most=2, gates=(replace(LOAD, then=then),)))
        run.model.constants = {"cpu.load": 50.0}
        assert run.go_on() is outcome
        assert run.verdicts() == verdicts
        skipped, holds = run.of(r.PassSkipped), run.of(r.RigHeld)
        assert {each.fault for each in (*skipped, *holds)} <= {"gate-gave-up"}
        assert [each.marks != () for each in run.of(r.PassStarted)] == [True] * len(verdicts)


def test_a_changed_fingerprint_holds_the_rig_before_the_pass() -> None:
    run = rehearsed()
    run.go_on(stop=run.after(1, r.GroupOpened))
    run.bench.fields = {"os.build": "rehearsed 2"}
    holds_to(run, "fingerprint-changed", HELD_BEFORE, run.go_on())


def test_a_low_disk_holds_the_rig_before_the_pass_and_names_the_bytes() -> None:
    run = rehearsed()
    run.model.constants = {**run.model.constants, "disk.free": 0.25}
    outcome = run.go_on()
    [hold] = run.of(r.RigHeld)
    assert "256 MiB (268435456 bytes) are free" in hold.reason
    assert "make room for at least 768 MiB (805306368 bytes) more" in hold.do
    holds_to(run, "disk-low", HELD_BEFORE, outcome)


def test_a_disk_that_cannot_be_read_holds_nothing() -> None:
    run = rehearsed()
    (free,) = run.bench.read(["disk.free"])
    assert not free.measured
    assert run.go_on() is Outcome.FINISHED


def test_a_largest_pass_raises_the_room_that_is_wanted() -> None:
    from harness.run.disk_room import FLOOR_BYTES, disk_low, room_wanted

    run = rehearsed()
    run.go_on()
    state = run.folded()
    assert room_wanted(state) == FLOOR_BYTES
    state.largest_pass_bytes = 3 << 30
    assert disk_low(state, measured("disk.free", 7.0)) is None
    low = disk_low(state, measured("disk.free", 6.5))
    assert low is not None
    assert "512 MiB (536870912 bytes) more" in low.do


def test_an_interrupted_pass_costs_nothing_and_is_carried_out_again() -> None:
    run = rehearsed()
    with pytest.raises(KeyboardInterrupt):
        run.go_on(bench=_Gone(run.bench))
    policy = Policy(verdict="interrupted", holds=False, again=True)
    holds_to(run, "interrupted", policy, run.go_on())


class _Gone:
    """A bench whose runner dies in the first pass."""

    def __init__(self, inner: RehearsedBench) -> None:
        self._inner = inner

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def carry_out(self, task: PassTask, stop: object) -> PassReport:
        raise KeyboardInterrupt


def full(run: Rehearsal, at_append: int, *, code: str = "store-full") -> None:
    """Let the store of *run* refuse one append."""
    append, calls = run.journal.append, 0

    def refuse(records: Sequence[r.Record], *, at: datetime, boot: str) -> None:
        nonlocal calls
        calls += 1
        if calls == at_append:
            raise StoreError(
                Problem(code=code, what="the disk is full", do="free space there")
            ) from OSError(errno.ENOSPC, "No space left on device")
        append(records, at=at, boot=boot)

    run.journal.append = refuse  # type: ignore[method-assign]


@pytest.mark.parametrize("at_append", range(1, 6))
def test_a_store_that_refuses_holds_the_rig_and_the_hold_comes_on_record_later(
    at_append: int,
) -> None:
    run = rehearsed()
    full(run, at_append)
    with pytest.raises(StoreError) as caught:
        run.go_on()
    assert [problem.code for problem in caught.value.problems] == ["store-full", "rig-held"]
    assert "harness release run-1-store-1" in caught.value.problems[1].do
    before = run.records
    [hold] = run.bench.holds()
    assert (hold.id, hold.do) == ("run-1-store-1", "free space there")
    run.release()
    assert run.go_on() is Outcome.FINISHED
    assert run.records[: len(before)] == before
    held, released = run.of(r.RigHeld), run.of(r.RigReleased)
    assert [each.fault for each in held] == ["store-refused"]
    assert [(each.hold, each.by) for each in released] == [(hold.id, "Ana")]
    assert run.verdicts()[-1] == "kept"
    assert run.go_on() is Outcome.FINISHED  # and once only
    assert run.of(r.RigHeld) == held


def test_a_busy_store_holds_nothing() -> None:
    run = rehearsed()
    full(run, 3, code="store-busy")
    with pytest.raises(StoreError):
        run.go_on()
    assert run.bench.holds() == ()
    assert run.go_on() is Outcome.FINISHED


def test_the_policies_cover_every_fault_that_a_night_may_meet() -> None:
    named = {
        *IN_THE_REPORT, *IN_THE_CAPTURE, "clock-jumped", "gate-gave-up", "fingerprint-changed",
        "disk-low", "interrupted", "store-refused",
    }  # fmt: skip
    listed = {
        "not-found", "not-executable", "exited", "signal", "timed-out", "silent", "no-capture",
        "stale-capture", "unreadable-capture", "short-capture", "gate-gave-up", "guard", "limit",
        "sensor-lost", "device-lost", "rig-not-quiet", "fingerprint-changed", "disk-low",
        "store-refused", "interrupted", "clock-jumped", "slept",
    }  # fmt: skip
    assert listed <= named <= set(FAULTS)
