"""apply(state, record) -> state: what a record changes. No rule runs here.

Pure. Every record kind has one function in the table at the end; the phase follows
``harness.run.transitions``. The state is changed in place and returned.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Any

from harness.plan.document import By, EnoughFrom, Plan, WarmUpWhen
from harness.run import attendance, passes, warming
from harness.run import records as r
from harness.run.state import RunState
from harness.run.transitions import TRANSITIONS, IllegalTransition, Phase


def apply(state: RunState, record: r.Record) -> RunState:
    """Return *state* after *record*; IllegalTransition where the table does not allow it."""
    try:
        effect, phase = _STEPS[state.phase][type(record)]
    except KeyError:
        raise IllegalTransition(state.phase, record) from None
    effect(state, record)
    state.phase = phase
    return state


def fold(state: RunState, records: Iterable[r.Record]) -> RunState:
    """Return *state* after all *records*, in order."""
    for record in records:
        apply(state, record)
    return state


def _no_effect(state: RunState, record: Any) -> None:
    pass


def _run_started(state: RunState, record: r.RunStarted) -> None:
    state.run = record.run


def _runner_started(state: RunState, record: r.RunnerStarted) -> None:
    # Whatever was brought about before may have changed while nobody looked. What was said since
    # the last runner went stands, unless the machine was started anew since, or another run had
    # the rig: a person may have changed the hardware for that.
    state.levels.clear()
    state.had_it_last = record.after == state.run
    same_boot = record.clocks is not None and record.clocks.boot == state.said_in
    if state.said_in and same_boot and state.had_it_last:
        state.levels.update(state.said)
    state.said, state.said_in = {}, ""
    state.ordered = None
    state.level_faults = 0
    state.turn_faults = 0
    state.put_back_first = bool(state.put_back)
    state.attended_by = record.attended_by
    state.clocks = record.clocks
    if state.phase is not Phase.HELD:
        state.not_put_back.clear()
    passes.cool(state, WarmUpWhen.LAUNCH)


def _group_opened(state: RunState, record: r.GroupOpened) -> None:
    state.group = record.group
    state.fields = dict(record.fields)
    state.accepted = {}
    for progress in state.progress.values():
        if progress.state is r.CellState.OPEN:
            progress.counted = progress.warm_up_faults = 0
            progress.kept, progress.discards = (), ()
            progress.stays = progress.last_stay = 0
            if not _sized_beforehand(state.plan):
                progress.wanted = None
    if record.group > 1:
        passes.cool(state, WarmUpWhen.BUILD_CHANGED)
        passes.survey(state)


def _sized_beforehand(plan: Plan) -> bool:
    """Return whether the number of passes was fixed by earlier runs, and not by a pilot."""
    return plan.enough is not None and plan.enough.source is EnoughFrom.HISTORY


def _block_opened(state: RunState, record: r.BlockOpened) -> None:
    state.block = record.block
    state.next_block = record.block + 1
    state.stay += 1
    state.round = 0
    state.queue.clear()
    passes.survey(state)


def _block_closed(state: RunState, record: r.BlockClosed) -> None:
    state.block = None
    state.left.clear()
    state.queue.clear()


def _round_started(state: RunState, record: r.RoundStarted) -> None:
    state.round = record.round
    state.queue = deque(record.cells)
    state.turn_passes = state.turn_faults = 0


def _step_asked(state: RunState, record: r.StepAsked) -> None:
    state.step = record
    state.steps = record.step
    attendance.asked(state, record)
    state.step_why = ""
    for condition, _ in record.levels:
        if not record.still:
            state.believed.pop(condition, None)
        state.levels.pop(condition, None)


def _step_confirmed(state: RunState, record: r.StepConfirmed) -> None:
    assert state.step is not None
    if record.attending and not record.before:
        state.attended_by = record.by
    attendance.confirmed(state, record)
    step, state.step = state.step, None
    for condition, level in step.levels:
        state.believed[condition] = level
        if state.grid.readable(condition, level):
            continue
        # Nothing can be read: the person's word stands, but not what was said before this runner
        # came up, while another run had the rig.
        if not record.before or state.had_it_last:
            state.levels[condition] = level
        if record.boot:
            state.said[condition], state.said_in = level, record.boot
    if not step.touches(record):
        return
    state.settle_due = state.plan.rig.settle_s > 0
    passes.cool(state, WarmUpWhen.VISIT)
    # The hardware was touched: what commands had set must be set again.
    for each in state.plan.conditions:
        if each.by is By.COMMAND:
            state.levels.pop(each.name, None)


def _rig_settled(state: RunState, record: r.RigSettled) -> None:
    state.settle_due = False


def _level_ordered(state: RunState, record: r.LevelOrdered) -> None:
    state.ordered = record
    state.levels.pop(record.condition, None)
    if state.grid.levels[record.condition, record.level].put_back is not None:
        state.put_back[record.condition] = record.level
        state.not_put_back.pop(record.condition, None)
    # A level without a put_back of its own leaves an earlier level's standing until it is
    # verified: if its command fails half-way, the earlier change may still be in force.


def _level_verified(state: RunState, record: r.LevelVerified) -> None:
    state.levels[record.condition] = record.level
    state.level_faults = 0
    state.ordered = None
    if state.grid.levels[record.condition, record.level].put_back is None:
        state.put_back.pop(record.condition, None)


def _level_not_met(state: RunState, record: r.LevelNotMet) -> None:
    state.levels.pop(record.condition, None)
    state.ordered = None
    state.level_faults += 1
    if state.believed.pop(record.condition, None) is not None:
        state.step_why = record.reason


def _level_put_back(state: RunState, record: r.LevelPutBack) -> None:
    state.levels.pop(record.condition, None)
    if record.problem:
        state.not_put_back[record.condition] = record.problem  # still owed
    else:
        state.put_back.pop(record.condition, None)
        state.not_put_back.pop(record.condition, None)
    state.put_back_first = state.put_back_first and bool(state.put_back)


def _reuse_offered(state: RunState, record: r.ReuseOffered) -> None:
    state.offers = record.offers


def _reuse_turned_down(state: RunState, record: r.ReuseTurnedDown) -> None:
    state.offers = ()


def _rig_held(state: RunState, record: r.RigHeld) -> None:
    state.hold = record
    state.to_prove = record if record.limit is not None else None
    state.holds += 1
    state.refusals += record.fault == "store-refused"
    state.levels.clear()
    state.said, state.said_in = {}, ""
    # Whoever puts the rig right may touch what no reading tells of: that is asked for anew.
    for pair in [*state.believed.items()]:
        if not state.grid.readable(*pair):
            del state.believed[pair[0]]
    state.step = None


def _proven(state: RunState, record: r.LimitCleared | r.AlarmRaised) -> None:
    state.to_prove = None


def _rig_released(state: RunState, record: r.RigReleased) -> None:
    assert state.hold is not None
    state.accepted = dict(state.hold.changed)
    if state.hold.fault == "not-put-back":
        # A person has put it back: the command is not to undo what it could not do.
        for condition in state.not_put_back:
            state.put_back.pop(condition, None)
    state.not_put_back.clear()
    state.put_back_first = bool(state.put_back)
    state.hold = state.to_prove = None
    warming.preload_over(state)
    state.fault, state.faulty = None, ()
    state.level_faults = state.turn_faults = 0


def _request_answered(state: RunState, record: r.RequestAnswered) -> None:
    state.last_request = record.request


def _clock_jumped(state: RunState, record: r.ClockJumped) -> None:
    if state.reference_at:  # so that its age stays what it was
        at = datetime.fromisoformat(state.reference_at) + timedelta(seconds=record.by_s)
        state.reference_at = at.isoformat()
    if state.clocks is not None and not record.unwatched:
        state.clocks = replace(state.clocks, day_s=state.clocks.day_s + record.by_s)


def _run_paused(state: RunState, record: r.RunPaused) -> None:
    state.levels.clear()


_EFFECTS: Mapping[type[r.Record], Callable[[RunState, Any], None]] = MappingProxyType(
    {
        r.RunStarted: _run_started,
        r.RunnerStarted: _runner_started,
        r.GroupOpened: _group_opened,
        r.BlockOpened: _block_opened,
        r.BlockClosed: _block_closed,
        r.RoundStarted: _round_started,
        r.StepAsked: _step_asked,
        r.StepConfirmed: _step_confirmed,
        r.RigSettled: _rig_settled,
        r.LevelOrdered: _level_ordered,
        r.LevelVerified: _level_verified,
        r.LevelNotMet: _level_not_met,
        r.LevelPutBack: _level_put_back,
        r.PassStarted: passes.pass_started,
        r.PassSkipped: passes.pass_skipped,
        r.PassEnded: passes.pass_ended,
        r.PassJudged: passes.pass_judged,
        r.PassDiscarded: passes.pass_discarded,
        r.CellClosed: passes.cell_closed,
        r.CellReopened: passes.cell_reopened,
        r.ReuseOffered: _reuse_offered,
        r.ReuseTurnedDown: _reuse_turned_down,
        r.CellReused: passes.cell_reused,
        r.CellSized: passes.cell_sized,
        r.CellWarmedUp: warming.cell_warmed_up,
        r.RigHeld: _rig_held,
        r.LimitCleared: _proven,
        r.AlarmRaised: _proven,
        r.RigReleased: _rig_released,
        r.RequestAnswered: _request_answered,
        r.ClockJumped: _clock_jumped,
        r.RunPaused: _run_paused,
        r.RunFinished: _no_effect,
    }
)

#: The law and the effects in one, so that applying a record takes one look at it.
_STEPS: Mapping[Phase, Mapping[type[r.Record], tuple[Callable[[RunState, Any], None], Phase]]] = {
    phase: {kind: (_EFFECTS[kind], after) for kind, after in allowed.items()}
    for phase, allowed in TRANSITIONS.items()
}
