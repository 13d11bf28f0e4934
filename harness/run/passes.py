"""What a record about a pass or a cell changes: counts, turns, faults in a row.

Pure. Used by ``apply``; ``decide`` asks the same functions what a verdict will lead to, so
that the two cannot disagree.
"""

from __future__ import annotations

from harness.plan.document import WarmUpWhen
from harness.rules.believable import is_believable
from harness.rules.faults import LASTING, OF_CAPTURE
from harness.rules.judgement import KeptPass, Verdict
from harness.run import attendance, warming
from harness.run import records as r
from harness.run.reference import reference_judged, reference_skipped
from harness.run.state import Progress, RunState, owed, passes_a_turn


def count_pass(
    progress: Progress, *, attempt: int, verdict: Verdict, figures: tuple[tuple[str, float], ...]
) -> None:
    """Enter the verdict on a counted pass into *progress*.

    An interrupted pass uses nothing up; every other verdict uses up one of ``at_most``.
    """
    if verdict is Verdict.INTERRUPTED:
        return
    progress.counted += 1
    if verdict is Verdict.KEPT:
        progress.kept = (*progress.kept, KeptPass(attempt=attempt, figures=figures))


def turn_over(
    state: RunState, *, warm_up: bool, verdict: Verdict, fault: str | None = None
) -> bool:
    """Return whether the cell in turn gives way to the next after this verdict.

    A fault that the next try would have again is not tried again.
    """
    if verdict is Verdict.INTERRUPTED:
        return False
    if verdict is Verdict.FAILED:
        return fault in LASTING or state.turn_faults + 1 > state.plan.faults.again
    return not warm_up and state.turn_passes + 1 >= passes_a_turn(state)


def makes_row(verdict: Verdict, fault: str | None) -> bool:
    """Return whether a pass counts to the cells in a row that had one fault.

    A guard, a sleep or a jump of the clock that makes a pass void is no fault of the bench.
    """
    if verdict is Verdict.FAILED:
        return fault is not None
    return verdict is Verdict.VOID and fault in OF_CAPTURE


def fault_row(state: RunState, *, cell: str, fault: str) -> tuple[str, ...]:
    """Return the cells in a row that had *fault*, once *cell* has had it too."""
    before = state.faulty if state.fault == fault else ()
    return before if cell in before else (*before, cell)


def pass_started(state: RunState, record: r.PassStarted) -> None:
    """Note the pass in progress, and fields of the fingerprint first seen with it."""
    state.passing = record
    state.fields.update(record.new_fields)
    if record.reference:
        state.reference_at = record.at
    else:
        _take_turn(state, record.cell)
    warming.preload_started(state, record)
    state.progress[record.cell].attempts = record.attempt


def pass_skipped(state: RunState, record: r.PassSkipped) -> None:
    """Count an attempt that was spent without being carried out."""
    state.progress[record.cell].attempts = record.attempt
    warming.preload_over(state)
    if record.reference:
        reference_skipped(state)
        return
    _take_turn(state, record.cell)
    _judged(
        state,
        record.cell,
        record.attempt,
        warm_up=record.warm_up,
        verdict=Verdict.FAILED,
        fault=record.fault,
        figures=(),
    )


def pass_ended(state: RunState, record: r.PassEnded) -> None:
    """Note what the pass gave, until its verdict comes."""
    state.ended = record
    if record.bundle is not None:
        size = sum(size for _, _, size in record.bundle.members)
        state.largest_pass_bytes = max(state.largest_pass_bytes, size)
    warming.preload_ended(state, record)


def pass_judged(state: RunState, record: r.PassJudged) -> None:
    """Count the pass by its verdict."""
    assert state.passing is not None and state.ended is not None
    warming.count(state, state.passing, state.ended, record.verdict)
    attendance.pass_over(state, record)
    if state.passing.reference:
        reference_judged(state, record, warm_up=state.passing.warm_up)
    else:
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
    return tuple(
        [
            (f.name, f.value)
            for f in record.figures
            if f.value is not None and is_believable(f.value)
        ]
    )


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
    over = turn_over(state, warm_up=warm_up, verdict=verdict, fault=fault)
    if warm_up:
        progress.warm_up_faults += verdict is Verdict.FAILED
    else:
        progress.warm_up_faults = 0
        count_pass(progress, attempt=attempt, verdict=verdict, figures=figures)
        if progress.last_stay != state.stay:
            progress.stays, progress.last_stay = progress.stays + 1, state.stay
        state.since_reference += 1
        if verdict is not Verdict.FAILED:
            state.turn_passes += 1
    state.turn_faults = state.turn_faults + 1 if verdict is Verdict.FAILED else 0
    if not makes_row(verdict, fault):
        state.fault, state.faulty = None, ()
    elif over:
        assert fault is not None
        state.faulty = fault_row(state, cell=cell, fault=fault)
        state.fault = fault
    if over:
        _give_way(state, cell)
    _reckon(state, cell)


def pass_discarded(state: RunState, record: r.PassDiscarded) -> None:
    """Take a discarded pass out of those kept; a mark changes nothing."""
    if not record.discarded:
        return
    progress = state.progress[record.cell]
    tally = dict(progress.discards)
    tally[record.rule] = tally.get(record.rule, 0) + 1
    progress.kept = tuple(kept for kept in progress.kept if kept.attempt != record.attempt)
    progress.discards = tuple(tally.items())
    _reckon(state, record.cell)


def cell_closed(state: RunState, record: r.CellClosed) -> None:
    """Close the cell; its turn and its place in the block are over."""
    state.progress[record.cell].state = record.state
    state.closed[record.state] = state.closed.get(record.state, 0) + 1
    _give_way(state, record.cell)
    _reckon(state, record.cell)


def cell_reopened(state: RunState, record: r.CellReopened) -> None:
    """Begin the cell anew; attempt numbers go on."""
    before = state.progress[record.cell]
    if before.state is not r.CellState.OPEN:
        state.closed[before.state] -= 1
    state.progress[record.cell] = Progress(attempts=before.attempts, superseded=before.attempts)
    _reckon(state, record.cell)


def cell_sized(state: RunState, record: r.CellSized) -> None:
    """Note how many kept passes the cell wants."""
    state.progress[record.cell].wanted = record.passes
    _reckon(state, record.cell)


def cell_reused(state: RunState, record: r.CellReused) -> None:
    """Close the cell with the passes of an earlier run."""
    state.progress[record.cell].state = r.CellState.ACCEPTED
    state.closed[r.CellState.ACCEPTED] = state.closed.get(r.CellState.ACCEPTED, 0) + 1
    state.offers = tuple(offer for offer in state.offers if offer.cell != record.cell)
    _give_way(state, record.cell)
    _reckon(state, record.cell)


def cool(state: RunState, when: WarmUpWhen) -> None:
    """Ask for warm-up passes again, if the plan names this occasion."""
    if when not in state.plan.passes.warm_up.when:
        return
    for progress in state.progress.values():
        warming.begin_again(progress)


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


def survey(state: RunState) -> None:
    """Note which cells the open block still owes passes to."""
    if state.block is not None:
        block = state.grid.blocks[state.block]
        state.left = {key: None for key in block.cells if owed(state, key)}


def _reckon(state: RunState, cell: str) -> None:
    """The same for one cell."""
    if state.block is None:
        return
    if cell in state.grid.members[state.block] and owed(state, cell):
        state.left[cell] = None
    else:
        state.left.pop(cell, None)
