"""When the reference cell is due: at a visit's start and end, and every so often.

Pure. A reference pass says how the rig is, not how its cell is: it counts neither to what
the cell keeps nor to what it may use up. It is always the same cell, so that its numbers
can be put side by side over nights: the plan's title and setting, under the level that a
person has set and under the first level of every condition that commands set.
"""

from __future__ import annotations

from datetime import datetime

from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.state import RunState


def reference_due(state: RunState, now: datetime | None) -> str | None:
    """Return the reference cell's key where a reference pass is due in the open block.

    Args:
        state: The run, between passes.
        now: The instant; without it, only a visit's start and end are looked at.
    """
    reference = state.plan.reference
    if reference is None or state.block is None:
        return None
    key = state.grid.references[state.block]
    if key is None:
        return None
    if state.reference_stay != state.stay:
        return key  # the visit's start
    if not state.left:
        return key if state.since_reference else None  # its end
    if reference.every_s is None or now is None or not state.reference_at:
        return None
    passed = (now - datetime.fromisoformat(state.reference_at)).total_seconds()
    # A wall clock that was set back tells no age: better one pass more than none all night.
    return key if passed >= reference.every_s or passed < 0 else None


def reference_judged(state: RunState, record: r.PassJudged, *, warm_up: bool) -> None:
    """Note a verdict on a reference pass; one that will not come does not stop the night."""
    if record.verdict is Verdict.INTERRUPTED:
        return
    if record.verdict is Verdict.KEPT:
        if not warm_up:
            _taken(state)
        return
    if warm_up and record.verdict is not Verdict.FAILED:
        return
    state.reference_faults += 1
    if state.reference_faults > state.plan.faults.again:
        _taken(state)


def reference_skipped(state: RunState) -> None:
    """Note that a reference pass was not carried out, since a gate gave up."""
    state.reference_faults += 1
    if state.reference_faults > state.plan.faults.again:
        _taken(state)


def _taken(state: RunState) -> None:
    state.reference_stay = state.stay
    state.since_reference = 0
    state.reference_faults = 0
