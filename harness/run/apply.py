"""apply(state, record) -> state: what a record changes. No rule runs here.

Pure. Every record kind has one function in the table at the end; the phase follows
``harness.run.transitions``. The state is changed in place and returned.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from harness.plan.document import By, WarmUpWhen
from harness.rules.judgement import KeptPass, Verdict
from harness.run import records as r
from harness.run.state import Progress, RunState, owed, passes_a_turn
from harness.run.transitions import IllegalTransition, Phase, next_phase


def apply(state: RunState, record: r.Record) -> RunState:
    """Return *state* after *record*; IllegalTransition where the table does not allow it."""
    phase = next_phase(state.phase, record)
    _EFFECTS[type(record)](state, record)
    state.phase = phase
    return state


def fold(state: RunState, records: Iterable[r.Record]) -> RunState:
    """Return *state* after all *records*, in order."""
    for record in records:
        apply(state, record)
    return state


def counted_pass(
    progress: Progress, *, attempt: int, verdict: Verdict, figures: tuple[tuple[str, float], ...]
) -> Progress:
    """Return *progress* after the verdict on a counted pass.

    An interrupted pass uses nothing up; every other verdict uses up one of ``at_most``.
    """
    if verdict is Verdict.INTERRUPTED:
        return progress
    kept = progress.kept
    if verdict is Verdict.KEPT:
        kept = (*kept, KeptPass(attempt=attempt, figures=figures))
    return replace(progress, counted=progress.counted + 1, kept=kept)


def turn_over(state: RunState, *, warm_up: bool, verdict: Verdict) -> bool:
    """Return whether the cell in turn gives way to the next after this verdict."""
    if verdict is Verdict.INTERRUPTED:
        return False
    if verdict is Verdict.FAILED:
        return state.turn_faults + 1 > state.plan.faults.again
    return not warm_up and state.turn_passes + 1 >= passes_a_turn(state)


def fault_row(state: RunState, *, cell: str, fault: str) -> tuple[str, ...]:
    """Return the cells in a row that had *fault*, once *cell* has had it too."""
    before = state.faulty if state.fault == fault else ()
    return before if cell in before else (*before, cell)


def _no_effect(state: RunState, record: Any) -> None:
    pass


def _run_started(state: RunState, record: r.RunStarted) -> None:
    state.run = record.run


def _runner_started(state: RunState, record: r.RunnerStarted) -> None:
    # Whatever was brought about before may have changed while nobody looked.
    state.levels.clear()
    state.ordered = None
    state.level_faults = 0
    state.turn_faults = 0
    state.put_back_first = bool(state.put_back)
    _cool(state, WarmUpWhen.LAUNCH)


def _group_opened(state: RunState, record: r.GroupOpened) -> None:
    state.group = record.group
    state.fields = dict(record.fields)
    state.regroup = False
    for key, progress in state.progress.items():
        if progress.state is r.CellState.OPEN:
            state.progress[key] = replace(
                progress, group=record.group, counted=0, kept=(), discards=(), warm_up_faults=0
            )
    if record.group > 1:
        _cool(state, WarmUpWhen.BUILD_CHANGED)
        state.next_block = 0
        _survey(state)


def _block_opened(state: RunState, record: r.BlockOpened) -> None:
    state.block = record.block
    state.next_block = record.block + 1
    state.round = 0
    state.queue.clear()
    _survey(state)


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
    state.step_why = ""
    for condition, _ in record.levels:
        state.believed.pop(condition, None)
        state.levels.pop(condition, None)


def _step_confirmed(state: RunState, record: r.StepConfirmed) -> None:
    assert state.step is not None
    for condition, level in state.step.levels:
        state.believed[condition] = level
        if not state.grid.levels[condition, level].expect:
            state.levels[condition] = level  # nothing can be read: the person's word stands
    state.step = None
    state.settle_due = state.plan.rig.settle_s > 0
    _cool(state, WarmUpWhen.VISIT)
    # The hardware was touched: what commands had set must be set again.
    for condition in state.plan.conditions:
        if condition.by is By.COMMAND:
            state.levels.pop(condition.name, None)


def _rig_settled(state: RunState, record: r.RigSettled) -> None:
    state.settle_due = False


def _level_ordered(state: RunState, record: r.LevelOrdered) -> None:
    state.ordered = record
    state.levels.pop(record.condition, None)
    if state.grid.levels[record.condition, record.level].put_back is not None:
        state.put_back[record.condition] = record.level
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
    state.put_back.pop(record.condition, None)
    state.levels.pop(record.condition, None)
    state.put_back_first = state.put_back_first and bool(state.put_back)


def _pass_started(state: RunState, record: r.PassStarted) -> None:
    state.passing = record
    state.fields.update(record.new_fields)
    _take_turn(state, record.cell)
    state.progress[record.cell] = replace(state.progress[record.cell], attempts=record.attempt)


def _pass_skipped(state: RunState, record: r.PassSkipped) -> None:
    _take_turn(state, record.cell)
    state.progress[record.cell] = replace(state.progress[record.cell], attempts=record.attempt)
    _judged(
        state,
        record.cell,
        record.attempt,
        warm_up=record.warm_up,
        verdict=Verdict.FAILED,
        fault=record.fault,
        figures=(),
    )


def _pass_ended(state: RunState, record: r.PassEnded) -> None:
    state.ended = record


def _pass_judged(state: RunState, record: r.PassJudged) -> None:
    assert state.passing is not None and state.ended is not None
    _judged(
        state,
        record.cell,
        record.attempt,
        warm_up=state.passing.warm_up,
        verdict=record.verdict,
        fault=record.fault,
        figures=numbers(state.ended),
    )
    state.passing = state.ended = None


def numbers(record: r.PassEnded) -> tuple[tuple[str, float], ...]:
    """Return the figures of a pass that have a value, as rules see them."""
    return tuple((f.name, f.value) for f in record.figures if f.value is not None)


def _judged(
    state: RunState,
    cell: str,
    attempt: int,
    *,
    warm_up: bool,
    verdict: Verdict,
    fault: str | None,
    figures: tuple[tuple[str, float], ...],
) -> None:
    if verdict is Verdict.INTERRUPTED:
        return
    progress = state.progress[cell]
    over = turn_over(state, warm_up=warm_up, verdict=verdict)
    if warm_up:
        if verdict is Verdict.FAILED:
            progress = replace(progress, warm_up_faults=progress.warm_up_faults + 1)
        else:
            progress = replace(progress, warm_ups=progress.warm_ups + 1)
    else:
        progress = counted_pass(progress, attempt=attempt, verdict=verdict, figures=figures)
        if verdict is not Verdict.FAILED:
            state.turn_passes += 1
    state.progress[cell] = progress
    if verdict is Verdict.FAILED:
        state.turn_faults += 1
        if over:
            assert fault is not None
            state.faulty = fault_row(state, cell=cell, fault=fault)
            state.fault = fault
    else:
        state.turn_faults = 0
        state.fault, state.faulty = None, ()
    if over:
        _give_way(state, cell)
    _reckon(state, cell)


def _pass_discarded(state: RunState, record: r.PassDiscarded) -> None:
    if not record.discarded:
        return
    progress = state.progress[record.cell]
    tally = dict(progress.discards)
    tally[record.rule] = tally.get(record.rule, 0) + 1
    state.progress[record.cell] = replace(
        progress,
        kept=tuple(kept for kept in progress.kept if kept.attempt != record.attempt),
        discards=tuple(tally.items()),
    )
    _reckon(state, record.cell)


def _cell_closed(state: RunState, record: r.CellClosed) -> None:
    state.progress[record.cell] = replace(state.progress[record.cell], state=record.state)
    state.closed[record.state] = state.closed.get(record.state, 0) + 1
    _give_way(state, record.cell)
    _reckon(state, record.cell)


def _cell_reopened(state: RunState, record: r.CellReopened) -> None:
    before = state.progress[record.cell]
    if before.state is not r.CellState.OPEN:
        state.closed[before.state] -= 1
    state.progress[record.cell] = Progress(attempts=before.attempts, group=state.group)
    state.next_block = 0
    _reckon(state, record.cell)


def _rig_held(state: RunState, record: r.RigHeld) -> None:
    state.hold = record
    state.holds += 1
    state.levels.clear()
    state.step = None


def _rig_released(state: RunState, record: r.RigReleased) -> None:
    assert state.hold is not None
    state.regroup = state.hold.fault == "fingerprint-changed"
    state.hold = None
    state.fault, state.faulty = None, ()
    state.level_faults = state.turn_faults = 0


def _request_answered(state: RunState, record: r.RequestAnswered) -> None:
    state.last_request = record.request


def _run_paused(state: RunState, record: r.RunPaused) -> None:
    state.levels.clear()


def _cool(state: RunState, when: WarmUpWhen) -> None:
    """Ask for warm-up passes again, if the plan names this occasion."""
    if when not in state.plan.passes.warm_up.when:
        return
    for key, progress in state.progress.items():
        if progress.warm_ups:
            state.progress[key] = replace(progress, warm_ups=0)


def _take_turn(state: RunState, cell: str) -> None:
    """Pass over the cells before *cell* in the round: the block owes them nothing more."""
    while state.queue and state.queue[0] != cell:
        state.queue.popleft()
        state.turn_passes = state.turn_faults = 0


def _give_way(state: RunState, cell: str) -> None:
    """End the turn of *cell*, if it is the one in turn."""
    if state.queue and state.queue[0] == cell:
        state.queue.popleft()
        state.turn_passes = state.turn_faults = 0


def _survey(state: RunState) -> None:
    """Note which cells the open block still owes passes to."""
    if state.block is not None:
        block = state.grid.blocks[state.block]
        state.left = {key: None for key in block.cells if owed(state, key, block)}


def _reckon(state: RunState, cell: str) -> None:
    """The same for one cell."""
    if state.block is None:
        return
    block = state.grid.blocks[state.block]
    if cell in state.grid.members[state.block] and owed(state, cell, block):
        state.left[cell] = None
    else:
        state.left.pop(cell, None)


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
        r.PassStarted: _pass_started,
        r.PassSkipped: _pass_skipped,
        r.PassEnded: _pass_ended,
        r.PassJudged: _pass_judged,
        r.PassDiscarded: _pass_discarded,
        r.CellClosed: _cell_closed,
        r.CellReopened: _cell_reopened,
        r.RigHeld: _rig_held,
        r.RigReleased: _rig_released,
        r.RequestAnswered: _request_answered,
        r.RunPaused: _run_paused,
        r.RunFinished: _no_effect,
    }
)

__all__ = [
    "IllegalTransition",
    "Phase",
    "apply",
    "counted_pass",
    "fault_row",
    "fold",
    "numbers",
    "turn_over",
]
