"""A device that is lost in the middle of the night: the pass is void, and the rig is held."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from harness.rig.rehearsed import RehearsedBench
from harness.rig.tasks import PassReport, PassTask
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan

LOST = "Heron 700, GPU-1f0c: the card is lost; 1 s before it was at 63 °C"


@dataclass(kw_only=True)
class LosingBench(RehearsedBench):
    """A rehearsed rig that loses its card in one of its passes."""

    in_pass: int
    passes: int = 0

    def carry_out(self, task: PassTask, stop: Callable[[], bool]) -> PassReport:
        self.passes += 1
        report = super().carry_out(task, stop)
        return replace(report, device_lost=LOST) if self.passes == self.in_pass else report


def losing(in_pass: int) -> tuple[Rehearsal, Outcome]:
    run = Rehearsal(plan(keep=3))
    bench = LosingBench(run.clock, run.model, in_pass=in_pass)
    run.bench = bench
    return run, run.go_on()


def test_the_rig_is_held_and_no_further_pass_is_started() -> None:
    run, outcome = losing(in_pass=2)
    assert outcome is Outcome.HELD
    assert run.verdicts() == ["kept", "void"]
    (hold,) = run.of(r.RigHeld)
    assert LOST in hold.reason
    assert run.of(r.PassJudged)[-1].fault == "device-lost"


def test_what_was_kept_before_stays_kept_and_the_run_goes_on_after_a_release() -> None:
    run, _ = losing(in_pass=2)
    run.release()
    assert run.go_on() is Outcome.FINISHED
    assert run.verdicts() == ["kept", "void", "kept", "kept"]
