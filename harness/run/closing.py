"""When a cell is closed, and when faults hold the rig.

Pure. Called by ``decide`` only. ``keep`` kept passes of one group accept a cell, after the
discard rules had their say; ``at_most`` counted passes close it.
"""

from __future__ import annotations

from harness.plan.document import FaultThen
from harness.rig.crossings import Foretold, GateGaveUp
from harness.rules.discard import find
from harness.rules.faults import LASTING, means, what_to_do
from harness.rules.judgement import Judgement, Verdict
from harness.run import records as r
from harness.run.passes import count_pass, fault_row, makes_row, turn_over
from harness.run.sizing import sized_by_pilot
from harness.run.state import Progress, RunState, wanted_passes, warm_up_due

Records = tuple[r.Record, ...]


def close(
    state: RunState,
    cell: str,
    attempt: int,
    *,
    warm_up: bool,
    verdict: Verdict,
    figures: tuple[tuple[str, float], ...],
    fault: str | None = None,
) -> Records:
    """Return the discards and the closing that a verdict leads to, in order."""
    progress = state.progress[cell]
    if verdict is Verdict.INTERRUPTED:
        return ()
    if fault in LASTING:
        reason = f"{means(fault)}; that is not tried again, {len(progress.kept)} passes kept"
        outcome = r.CellState.SHORT if progress.kept else r.CellState.FAILED
        return (_closed(progress, cell, outcome, state.group, reason),)
    if warm_up:
        spent = progress.warm_up_faults + 1
        if verdict is not Verdict.FAILED or spent < state.plan.passes.at_most:
            return ()
        reason = f"{spent} warm-up passes failed"
        outcome = r.CellState.SHORT if progress.kept else r.CellState.FAILED
        return (_closed(progress, cell, outcome, state.group, reason),)
    after = Progress(  # what apply will make of it, as far as it is looked at here
        counted=progress.counted,
        kept=progress.kept,
        discards=progress.discards,
        wanted=progress.wanted,
    )
    count_pass(after, attempt=attempt, verdict=verdict, figures=figures)
    records: list[r.Record] = []
    if _to_be_asked(state, after):
        findings = find(after.kept, state.plan.discard, discarded=dict(after.discards))
        gone = {finding.attempt for finding in findings if finding.discard}
        after.kept = tuple(kept for kept in after.kept if kept.attempt not in gone)
        sized = None
        if after.wanted is None:
            sized = sized_by_pilot(
                state.plan, state.grid.titles[cell], cell, kept=after.kept, counted=after.counted
            )
        if sized is not None:
            after.wanted = sized.passes
        if sized is not None and sized.passes > len(after.kept):
            findings = ()  # marks of a pilot: the rules are asked again, of all that are kept
        records += (
            r.PassDiscarded(
                cell=cell,
                attempt=finding.attempt,
                rule=finding.rule,
                on=finding.on,
                statistic=finding.statistic,
                critical=finding.critical,
                passes=finding.passes,
                discarded=finding.discard,
                reason=finding.reason,
            )
            for finding in findings
        )
        if sized is not None:
            records.append(sized)
    ending = _ending(state, cell, after)
    return (*records, ending) if ending is not None else tuple(records)


def _to_be_asked(state: RunState, progress: Progress) -> bool:
    """Return whether the discard rules are asked: what was wanted is there, or will not be.

    A cell that wants more than the plan's ``keep`` may use its passes up before.
    """
    passes, kept = state.plan.passes, len(progress.kept)
    used_up = progress.counted >= passes.at_most
    return kept >= wanted_passes(state, progress) or (used_up and kept >= passes.keep)


def _ending(state: RunState, cell: str, progress: Progress) -> r.CellClosed | None:
    passes, wanted = state.plan.passes, wanted_passes(state, progress)
    kept = len(progress.kept)
    if kept >= wanted:
        reason = f"{kept} passes kept, {wanted} wanted"
        return _closed(progress, cell, r.CellState.ACCEPTED, state.group, reason)
    if progress.counted < passes.at_most:
        return None
    reason = f"{progress.counted} passes used up, {kept} kept, {wanted} wanted"
    if kept >= passes.keep:  # enough for the plan, though not for the interval it hoped for
        return _closed(progress, cell, r.CellState.ACCEPTED, state.group, reason)
    outcome = r.CellState.SHORT if kept else r.CellState.FAILED
    return _closed(progress, cell, outcome, state.group, reason)


def _closed(
    progress: Progress, cell: str, outcome: r.CellState, group: int, reason: str
) -> r.CellClosed:
    return r.CellClosed(
        cell=cell,
        state=outcome,
        group=group,
        kept=tuple(kept.attempt for kept in progress.kept),
        reason=reason,
    )


def skip(
    state: RunState,
    cell: str,
    *,
    fault: str,
    reason: str,
    reference: bool = False,
    gate: GateGaveUp | None = None,
    foretold: tuple[Foretold, ...] = (),
) -> Records:
    """Return the records of an attempt that is spent without being carried out."""
    warm_up = warm_up_due(state, cell)
    attempt = state.progress[cell].attempts + 1
    skipped = r.PassSkipped(
        cell=cell,
        attempt=attempt,
        warm_up=warm_up,
        group=state.group,
        fault=fault,
        reason=reason,
        reference=reference,
        gate=gate,
        foretold=foretold,
    )
    if reference:
        return (skipped,)
    closing = close(state, cell, attempt, warm_up=warm_up, verdict=Verdict.FAILED, figures=())
    judgement = Judgement(verdict=Verdict.FAILED, reason=reason, fault=fault)
    stop = faults_in_a_row(state, cell, warm_up=warm_up, judgement=judgement)
    return (skipped, *closing, *((stop,) if stop is not None else ()))


def faults_in_a_row(
    state: RunState, cell: str, *, warm_up: bool, judgement: Judgement
) -> r.RigHeld | None:
    """Return the hold that a failed pass leads to by the plan's ``faults``, or None.

    A fault that came again in every try of one turn counts for the cell; the same fault in
    ``stop_after`` cells in a row holds the rig, since a dead driver must not burn a grid. So
    does a fault of the capture, though it makes a pass void: a dead recorder must not either.
    """
    fault, verdict = judgement.fault, judgement.verdict
    if fault is None or not makes_row(verdict, fault):
        return None
    faults = state.plan.faults
    if not turn_over(state, warm_up=warm_up, verdict=verdict, fault=fault):
        return None
    if faults.then is FaultThen.HOLD and verdict is Verdict.FAILED:
        return held(state, fault, judgement.reason)
    row = fault_row(state, cell=cell, fault=fault)
    if len(row) < faults.stop_after:
        return None
    labels = "; ".join(state.grid.cells[key].label for key in row)
    cells = "1 cell" if len(row) == 1 else f"{len(row)} cells in a row"
    reason = f"the same fault in {cells} ({labels}): {judgement.reason}"
    return held(state, fault, reason)


def held(state: RunState, fault: str, reason: str) -> r.RigHeld:
    """Return a hold with a name of its own, and what a person must do."""
    return r.RigHeld(
        hold=f"{state.run}-hold-{state.holds + 1}",
        fault=fault,
        reason=reason,
        do=what_to_do(fault),
    )
