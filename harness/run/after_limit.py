"""After a limit: the rig is held, and then its reading must be seen to come back.

Pure. The command was ended at once. A temperature must then fall; any other reading, and one
that was lost, must be read inside its limit again. Where that is not seen in ``PROOF_S`` an
alarm is raised: a record of its own, which every view and notice shows first.
"""

from __future__ import annotations

from dataclasses import replace

from harness.plan.document import Bound, Gate, Then
from harness.plan.words import words
from harness.rig.crossings import DeviceLost, GateGaveUp, GatesOpened, LimitBreached
from harness.rules.faults import after_a_limit
from harness.rules.judge import limit_words
from harness.run import observations as o
from harness.run import records as r
from harness.run.closing import held
from harness.run.state import RunState

#: How long a reading has to come back, seconds; and by how much a temperature must fall, °C.
#: Common practice, no source: with its load gone a part of a few hundred watts falls at once.
PROOF_S = 120.0
FALL_C = 2.0


def held_by_limit(state: RunState, breach: LimitBreached, *, step: str = "") -> r.RigHeld:
    """Return the hold that a limit leads to; *step* is where it was passed, beside a title."""
    reason = (f"step {step}: " if step else "") + limit_words(breach)
    if breach.value is None and breach.unit != "°C":
        return replace(held(state, "sensor-lost", reason), limit=breach)
    hold = held(state, "limit" if breach.value is not None else "sensor-lost", reason)
    return replace(hold, do=after_a_limit(breach.unit), limit=breach)


def proof(state: RunState, breach: LimitBreached) -> Gate:
    """Return what must be seen after *breach*, as a gate."""
    bound = _bound(state, breach)
    if breach.unit == "°C" and breach.value is not None and bound.at_most is not None:
        bound = replace(bound, at_least=None, at_most=breach.value - FALL_C)
    return Gate(bound=bound, for_s=0.0, give_up_s=PROOF_S, then=Then.HOLD)


def _bound(state: RunState, breach: LimitBreached) -> Bound:
    """Return the bound of the limit that was breached; the first on its reading in doubt."""
    levels = (level for level in state.grid.levels.values())
    limits = (*(state.plan.limits or ()), *(each for level in levels for each in level.limits))
    bounds = [limit.bound for limit in limits if limit.bound.reading == breach.reading]
    same = (bound for bound in bounds if words(bound) == breach.bound)
    return next(same, bounds[0])


def proof_over(state: RunState, over: o.ProofOver) -> tuple[r.Record, ...]:
    """Return the proof, or the alarm, that a watched reading leads to."""
    hold, value = state.to_prove, over.reading.value
    assert hold is not None and hold.limit is not None
    bound = words(proof(state, hold.limit).bound)
    number = None if value is None or isinstance(value, (str, tuple)) else float(value)
    if isinstance(over.end, GatesOpened):
        return (
            r.LimitCleared(
                hold=hold.hold,
                reading=over.reading.name,
                unit=over.reading.unit,
                bound=bound,
                value=number,
                waited_s=over.end.waited_s,
            ),
        )
    waited_s = over.end.waited_s if not isinstance(over.end, LimitBreached) else over.end.at_s
    match over.end:
        case GateGaveUp():
            reason = "it was not seen to come back after its command was ended"
        case DeviceLost(what=what):
            reason = f"it was not seen to come back: {what}"
        case _:
            reason = "the runner was told to stop before it was seen to come back"
    if value is None:
        reason += f" (not measured: {over.reading.why})"
    return (
        r.AlarmRaised(
            hold=hold.hold,
            reading=over.reading.name,
            unit=over.reading.unit,
            bound=bound,
            value=number,
            waited_s=waited_s,
            reason=reason,
        ),
    )
