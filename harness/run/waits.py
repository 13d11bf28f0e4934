"""What the end of a wait leads to: a pass, a preload pass, a skipped one, or a hold.

Pure. Called by ``decide`` only. A gate whose reading was lost did not see the part stay out of
its bound: the plan's ``then`` is no answer to that, unless it holds the rig. It is the fault
*sensor-lost*, and the attempt is spent with it, by the plan's ``faults``.
"""

from __future__ import annotations

from dataclasses import replace

from harness.plan.document import Gate, Then
from harness.rig.crossings import (
    DeviceLost,
    GateGaveUp,
    LimitBreached,
    TooCold,
    Woken,
)
from harness.rig.readings import Reading, shown
from harness.run import observations as o
from harness.run import records as r
from harness.run.after_limit import held_by_limit
from harness.run.closing import held, skip
from harness.run.disk_room import disk_low
from harness.run.groups import fixed, group_for
from harness.run.pick import upcoming
from harness.run.state import RunState, warm_up_due

Records = tuple[r.Record, ...]


def wait_over(state: RunState, over: o.WaitOver) -> Records:
    """Return what the end of a wait leads to: a pass, a skipped one, a hold, or nothing."""
    if isinstance(over.end, Woken):
        return ()
    if isinstance(over.end, LimitBreached):
        return (held_by_limit(state, over.end),)
    if isinstance(over.end, DeviceLost):
        return (held(state, "device-lost", over.end.what),)
    group = group_for(state, over.fingerprint, accepted=state.accepted, unread=over.unread)
    if group:
        # A hold, or a new group: what is due next is chosen anew.
        return group
    if over.reference:
        key, round_started = over.cell, None
    else:
        key, round_started = upcoming(state)
        assert key == over.cell
    low = disk_low(state, over.free)
    if low is not None:
        return (low,)
    marks: tuple[str, ...] = ()
    gave_up: GateGaveUp | None = None
    before: Records = (round_started,) if round_started is not None else ()
    if isinstance(over.end, GateGaveUp):
        text = gate_words(over.end, state.plan.gates[over.end.gate])
        gave_up = over.end
        fault = "gate-gave-up"
        then = state.plan.gates[gave_up.gate].then
        if gave_up.lost:
            fault = "sensor-lost"
            then = Then.SKIP if then is Then.MARK else then
        match then:
            case Then.HOLD:
                hold = held(state, fault, text)
                return (replace(hold, gate=gave_up, foretold=over.foretold),)
            case Then.SKIP:
                skipped = skip(
                    state,
                    key,
                    fault=fault,
                    reason=text,
                    reference=over.reference,
                    gate=gave_up,
                    foretold=over.foretold,
                )
                return (*before, *skipped)
            case Then.MARK:
                marks = (f"gate-gave-up: {text}",)
    warm_up = warm_up_due(state, key)
    # A warm-up pass that is due anyway warms the part as well.
    preload = isinstance(over.end, TooCold) and not warm_up
    if not (warm_up or preload) and state.progress[key].unsteady:
        marks = (*marks, f"unsteady: {state.progress[key].unsteady}")
    here, known = fixed(state, over.fingerprint), state.fields
    new = [(name, text) for name, text in here.items() if name not in known]
    started = r.PassStarted(
        cell=key,
        attempt=state.progress[key].attempts + 1,
        warm_up=warm_up or preload,
        group=state.group,
        block=state.block if state.block is not None else 0,
        round=round_started.round if round_started is not None else state.round,
        waited_s=over.end.waited_s,
        readings=over.readings,
        new_fields=tuple(sorted(new)),
        marks=marks,
        reference=over.reference,
        at=over.now.isoformat() if over.reference and over.now is not None else "",
        preload=preload,
        gate=gave_up,
        foretold=over.foretold,
    )
    return (*before, started)


def gate_words(gave_up: GateGaveUp, gate: Gate) -> str:
    """Return why a gate gave up as a person reads it."""
    last = Reading(name=gave_up.reading, unit=gave_up.unit, value=gave_up.value, why=gave_up.why)
    stay = f"stay {gave_up.bound} for {gate.for_s:g} s" if gate.for_s else f"become {gave_up.bound}"
    floor = gave_up.floor
    if gave_up.lost:
        return (
            f"{gave_up.reading} must {stay}, and its reading was lost: after "
            f"{gave_up.waited_s:.0f} s it was {shown(last)}"
        )
    if floor is None:
        return (
            f"{gave_up.reading} did not {stay} within {gave_up.waited_s:.0f} s; "
            f"at the last it was {shown(last)}"
        )
    unit = gave_up.unit
    best = f"{floor.value_c:.1f} {unit} at best ({floor.low_c:.1f} to {floor.high_c:.1f} {unit}"
    return (
        f"{gave_up.reading} cannot {stay} within {gate.give_up_s:.0f} s: after "
        f"{gave_up.waited_s:.0f} s it was {shown(last)}, foretold {best} at 99 %)"
    )
