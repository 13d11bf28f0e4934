"""What goes wrong while a gate is awaited, or the rig settles, is seen then, and answered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta

import pytest

from harness.plan import document as d
from harness.rig.crossings import WaitEnd, WaitWatch
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.tasks import PassReport, PassTask
from harness.rig.thermal import Thermal
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan
from tests.run.test_clock_jumps import JumpingClock

GPU = "gpu.temperature"
LOST = "Heron 700, GPU-1f0c: the card is lost; 1 s before it was at 63 °C"


def gate(then: d.Then = d.Then.MARK, *, for_s: float = 5.0, give_up_s: float = 600.0) -> d.Gate:
    return d.Gate(
        bound=d.Bound(reading=GPU, unit="°C", at_most=50.0),
        for_s=for_s, give_up_s=give_up_s, then=then,
    )  # fmt: skip


def hot(
    *gates: d.Gate, clock: RehearsedClock | None = None, keep: int = 2, **parts: object
) -> Rehearsal:
    """Return a run on a rig whose card has just been at 80 °C and comes to 50 °C after 55 s."""
    parts.setdefault("titles", 1)
    run = Rehearsal(plan(keep=keep, gates=gates, **parts), clock=clock or RehearsedClock())  # type: ignore[arg-type]
    run.model.parts = {GPU: Thermal(room_c=30.0, hot_c=80.0, tau_s=60.0)}
    run.bench.temperatures[GPU] = 80.0
    return run


# --- a reading that is lost -----------------------------------------------------------------


@pytest.mark.parametrize("then", [d.Then.MARK, d.Then.SKIP])
def test_a_gate_whose_reading_is_lost_is_the_fault_sensor_lost(then: d.Then) -> None:
    run = hot(gate(then), faults=d.Faults(again=0, stop_after=9))
    run.bench.lost[GPU] = "no answer"
    run.go_on()
    skipped = run.of(r.PassSkipped)
    assert {each.fault for each in skipped} == {"sensor-lost"}
    assert not run.of(r.PassStarted)
    assert all(each.gate.lost and each.gate.waited_s == 30.0 for each in skipped)
    assert "its reading was lost: after 30 s it was not measured: no answer" in skipped[0].reason


def test_a_lost_reading_is_tried_again_as_often_as_the_plan_says_and_then_holds_the_rig() -> None:
    run = hot(gate(), titles=2, faults=d.Faults(again=1, stop_after=2), at_most=9)
    run.bench.lost[GPU] = "no answer"
    assert run.go_on() is Outcome.HELD
    assert len(run.of(r.PassSkipped)) == 4  # two tries in each of two cells
    (hold,) = run.of(r.RigHeld)
    assert hold.fault == "sensor-lost"


def test_a_gate_that_holds_the_rig_holds_it_for_the_lost_sensor() -> None:
    run = hot(gate(d.Then.HOLD))
    run.bench.lost[GPU] = "no answer"
    assert run.go_on() is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert (hold.fault, hold.gate.lost) == ("sensor-lost", True)
    assert "harness sensors" in hold.do


def test_a_gate_that_gave_up_with_a_value_is_no_lost_sensor() -> None:
    run = hot(gate(d.Then.SKIP, give_up_s=20.0), faults=d.Faults(again=0, stop_after=9), at_most=2)
    run.bench.temperatures[GPU] = 80.0
    run.go_on()
    assert run.of(r.PassSkipped)[0].fault == "gate-gave-up"


# --- a device that is lost ------------------------------------------------------------------


def test_a_device_lost_in_a_wait_holds_the_rig_then_and_no_pass_is_started() -> None:
    run = hot(gate())
    run.bench.device_lost = LOST
    assert run.go_on() is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert (hold.fault, hold.reason) == ("device-lost", LOST)
    assert not run.of(r.PassStarted)
    run.release()
    run.bench.device_lost = None
    assert run.go_on() is Outcome.FINISHED


# --- a sleep --------------------------------------------------------------------------------


def test_a_sleep_in_a_gate_is_on_record_and_its_hold_begins_again() -> None:
    # Met from 55 s on, held for 20 s: asleep in the middle of the hold.
    clock = RehearsedClock(sleeps=[(60.0, 3600.0)])
    run = hot(gate(for_s=20.0), clock=clock, keep=1)
    assert run.go_on() is Outcome.FINISHED
    (slept,) = run.of(r.ClockJumped)
    assert (slept.by_s, slept.slept_s, slept.during) == (0.0, 3600.0, "")
    entries = run.journal.entries()
    at = next(entry.at for entry in entries if isinstance(entry.record, r.ClockJumped))
    begun = next(entry.at for entry in entries if isinstance(entry.record, r.PassStarted))
    assert at - clock.start == timedelta(seconds=3660)
    assert begun - at == timedelta(seconds=20)
    (started,) = run.of(r.PassStarted)
    assert started.waited_s == 20.0


def test_a_sleep_in_a_gate_uses_up_none_of_its_patience() -> None:
    # 120 s of patience, and the hour asleep would be more than all of it.
    clock = RehearsedClock(sleeps=[(10.0, 3600.0)])
    run = hot(gate(give_up_s=120.0), clock=clock, keep=1)
    assert run.go_on() is Outcome.FINISHED
    assert not run.of(r.PassSkipped)
    assert run.of(r.PassStarted)[0].gate is None


def test_a_sleep_while_the_rig_settles_begins_the_settling_again() -> None:
    slot = d.Condition(
        name="slot", by=d.By.OPERATOR, levels=(d.Level(name="one", say="Card in slot one."),)
    )
    clock = RehearsedClock()
    run = Rehearsal(plan(keep=1, conditions=(slot,), rig=d.Rig(settle_s=100.0)), clock=clock)
    clock.person = run.confirms()
    clock.sleeps = [(650.0, 1800.0)]  # confirmed after 600 s, so 50 s into the settling
    assert run.go_on() is Outcome.FINISHED
    (slept,) = run.of(r.ClockJumped)
    assert slept.slept_s == 1800.0
    entries = run.journal.entries()
    at = {type(entry.record): entry.at for entry in entries}
    assert at[r.RigSettled] - at[r.StepConfirmed] >= timedelta(seconds=1800 + 100)


# --- the clock of the day -------------------------------------------------------------------


@dataclass(slots=True)
class Asking(RehearsedBench):
    """A bench that asks each second of a wait whether it is to be broken off, as the real one."""

    asked: list[float] = field(default_factory=list)

    def wait(self, watch: WaitWatch, interrupt: Callable[[], bool]) -> WaitEnd:
        began_s, temperature = self.clock.elapsed_s, dict(self.temperatures)
        end = RehearsedBench.wait(self, watch, interrupt)
        ended_s, self.clock.elapsed_s = self.clock.elapsed_s, began_s
        while self.clock.elapsed_s < ended_s:
            self.clock.elapsed_s += 1.0
            self.asked.append(self.clock.elapsed_s)
            assert not interrupt(), temperature
        return end


def instants(run: Rehearsal, kind: type) -> Sequence[float]:
    clock = run.clock
    return [
        (entry.at - clock.start).total_seconds()
        for entry in run.journal.entries()
        if isinstance(entry.record, kind)
    ]


@pytest.mark.parametrize("by_s", [7200.0, -7200.0])
def test_a_jump_in_a_gate_is_on_record_within_a_second_and_the_wait_goes_on(by_s: float) -> None:
    run = hot(gate(), clock=JumpingClock(jumps=[(10.0, by_s)]), keep=1)
    run.bench = Asking(run.clock, run.model, temperatures={GPU: 80.0})
    assert run.go_on() is Outcome.FINISHED
    (jump,) = run.of(r.ClockJumped)
    assert jump.by_s == pytest.approx(by_s)
    assert instants(run, r.ClockJumped) == [10.0 + by_s]
    (started,) = run.of(r.PassStarted)
    assert started.waited_s == 60.0  # 55 s of falling and a hold of 5 s: none of it is lost


# --- what changes meanwhile -----------------------------------------------------------------


def test_a_change_of_the_rig_during_a_gate_holds_it_before_the_pass() -> None:
    run = hot(gate())

    class Changing(RehearsedBench):
        def wait(self, watch: WaitWatch, interrupt: Callable[[], bool]) -> WaitEnd:
            self.fields["os.build"] = "rehearsed 2"
            return super().wait(watch, interrupt)

    run.bench = Changing(run.clock, run.model)
    assert run.go_on() is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert hold.fault == "fingerprint-changed"
    assert not run.of(r.PassStarted)


# --- what was foretold ----------------------------------------------------------------------


def test_a_rehearsed_wait_is_worked_out_and_not_foretold() -> None:
    run = hot(gate(), keep=1)
    run.go_on()
    assert run.of(r.PassStarted)[0].foretold == ()


# --- the proof after a limit ----------------------------------------------------------------


@dataclass(slots=True)
class Then(RehearsedBench):
    """A bench on which something happens as soon as a pass is over."""

    then: Callable[[RehearsedBench], None] = lambda bench: None

    def carry_out(self, task: PassTask, stop: Callable[[], bool]) -> PassReport:
        report = RehearsedBench.carry_out(self, task, stop)
        self.then(self)
        return report


def after_a_limit(then: Callable[[RehearsedBench], None]) -> Rehearsal:
    """Return a run whose card has passed its limit of 79.5 °C; then something happens."""
    limit = d.Limit(bound=d.Bound(reading=GPU, unit="°C", at_most=79.5))
    run = Rehearsal(plan(keep=1, limits=(limit,)))
    run.model.parts = {GPU: Thermal(room_c=30.0, hot_c=120.0, tau_s=60.0)}
    run.bench = Then(run.clock, run.model, temperatures={GPU: 75.0}, then=then)
    assert run.go_on() is Outcome.HELD
    return run


def test_a_device_that_is_lost_before_the_proof_raises_the_alarm_and_says_so() -> None:
    run = after_a_limit(lambda bench: setattr(bench, "device_lost", LOST))
    (alarm,) = run.of(r.AlarmRaised)
    assert alarm.reason == f"it was not seen to come back: {LOST}"


def test_a_sleep_before_the_proof_raises_no_alarm() -> None:
    run = after_a_limit(lambda b: b.clock.sleeps.append((b.clock.elapsed_s + 0.5, 3600.0)))
    assert not run.of(r.AlarmRaised)
    assert [each.slept_s for each in run.of(r.ClockJumped)] == [3600.0]
    (cleared,) = run.of(r.LimitCleared)
    assert cleared.waited_s == 0.0
