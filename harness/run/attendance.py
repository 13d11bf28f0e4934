"""Whether somebody stays with the rig for the first pass after a case was opened.

Pure. Somebody's word, given with the confirmation of the step, lasts as long as the runner
that heard it. A runner that takes the run up later has nobody's word, unless it was started
at a terminal: until that pass is over it asks for one, as a person's step, and starts no
title meanwhile. So it is after a restart, a crash, and with whatever a schedule starts.
"""

from __future__ import annotations

from harness.errors import Place, Problem
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.state import RunState

#: What a person is asked to do.
STAY = "Stay with the rig until its first pass after the case was opened is over."
#: Why, said with it.
WHY = "a case was opened, no pass is over since, and nobody is known to be with the rig"


def attended_only(file: str) -> Problem:
    """Return why a plan without limits is not carried out while nobody is there."""
    return Problem(
        code="attended-only",
        what="the plan says limits: none, which is for attended runs only",
        place=Place(file=file),
        do="write limits, or carry it out with somebody there: harness run",
    )


def attendance_step(state: RunState, *, boot: str) -> r.StepAsked | None:
    """Return the step that asks somebody to stay, or None where nobody need be asked."""
    if not state.opened or state.attended_by:
        return None
    return r.StepAsked(
        step=state.steps + 1,
        levels=(),
        say=(STAY,),
        opens_case=False,
        reboot=False,
        boot=boot,
        why=WHY,
        attend=True,
    )


def asked(state: RunState, record: r.StepAsked) -> None:
    """Note that the case may be open from now on."""
    if record.opens_case:
        state.opened = record.step


def confirmed(state: RunState, record: r.StepConfirmed) -> None:
    """Note that the case was opened to put right what had been confirmed before."""
    assert state.step is not None
    if state.step.still and state.step.touches(record):
        state.opened = record.step


def case_step(state: RunState) -> int:
    """Return the step since which the case may be open; 0: there is none.

    So it may be from when a step is asked that opens it, and while it is asked whether something
    is still so that may have to be put right in the case.
    """
    step = state.step
    return state.opened or (step.step if step is not None and step.reopens else 0)


def pass_over(state: RunState, record: r.PassJudged) -> None:
    """Note that the first pass is over: one that the title went through, within the limits.

    A pass that failed or was broken off has not shown yet that the rig bears its load.
    """
    assert state.ended is not None
    if record.verdict in (Verdict.KEPT, Verdict.VOID) and state.ended.limit is None:
        state.opened = 0
