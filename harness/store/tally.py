"""Records -> where a run and its cells stand: the fold behind ``harness.store.standing``.

Pure. It counts what the records say and decides nothing. A record out of order is not its
business: the phase is then left as it is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.run.transitions import TRANSITIONS, Phase
from harness.store.bodies import to_body
from harness.store.rows import at_text
from harness.store.standing import CellStanding, RunStanding

#: Answers where a cell stands before a record.
Before = Callable[[str], CellStanding]

_NO_PASS = {"cell": None, "attempt": None, "warm_up": None}


def tallied(
    run: RunStanding, entry: Entry, before: Before
) -> tuple[RunStanding, CellStanding | None]:
    """Return where the run stands after *entry*, and the cell that it is about, if any."""
    record, at = entry.record, at_text(entry.at)
    phase = _phase(run, record)
    changes: dict[str, Any] = {"seq": entry.seq, "at": at}
    if phase != run.phase or isinstance(record, r.RigHeld | r.StepAsked):
        changes |= {"phase": phase, "since": at}
        if phase not in (Phase.STEP.value, Phase.HELD.value):
            changes["waits"] = None
    key: str | None = getattr(record, "cell", None)
    cell = None if key is None else before(key)
    match record:
        case r.StepAsked() | r.RigHeld():
            changes["waits"] = to_body(record)
        case r.GroupOpened():
            changes["group"] = record.group
        case r.PassStarted():
            assert cell is not None
            cell = _in_group(cell, record.group).but(attempts=record.attempt)
            changes |= {
                "cell": record.cell,
                "attempt": record.attempt,
                "warm_up": _role(record),
            }
        case r.PassSkipped():
            assert cell is not None
            cell = _in_group(cell, record.group).but(attempts=record.attempt)
            if _role(record) is not None:
                cell = _counted(cell, "warm_up" if record.warm_up else "failed")
                changes["passes"] = run.passes + (not record.warm_up)
        case r.PassJudged():
            assert cell is not None
            changes |= _NO_PASS
            if run.warm_up is not None or run.cell is None:  # else it was a reference pass
                cell = _counted(cell, "warm_up" if run.warm_up else _COUNTER[record.verdict])
                changes["passes"] = run.passes + (not run.warm_up)
        case r.PassDiscarded():
            assert cell is not None
            if record.discarded:  # else the rule only marked the pass
                cell = _counted(_counted(cell, "kept", -1), "discarded")
        case r.CellClosed():
            assert cell is not None
            changes |= _closed(run, cell.state, record.state.value)
            cell = _in_group(cell, record.group).but(state=record.state.value)
        case r.CellReopened():
            assert cell is not None
            changes |= _closed(run, cell.state, r.CellState.OPEN.value)
            cell = CellStanding(cell=cell.cell, group=run.group, attempts=cell.attempts)
        case r.CellReused():
            assert cell is not None
            changes |= _closed(run, cell.state, r.CellState.ACCEPTED.value)
            cell = _in_group(cell, record.group).but(state=r.CellState.ACCEPTED.value)
        case (
            r.RunStarted()
            | r.ReuseOffered()
            | r.ReuseTurnedDown()
            | r.CellSized()
            | r.CellWarmedUp()
            | r.LimitCleared()
            | r.AlarmRaised()
            | r.RunnerStarted()
            | r.BlockOpened()
            | r.BlockClosed()
            | r.RoundStarted()
            | r.StepConfirmed()
            | r.RigSettled()
            | r.LevelOrdered()
            | r.LevelVerified()
            | r.LevelNotMet()
            | r.LevelPutBack()
            | r.PassEnded()
            | r.RigReleased()
            | r.RequestAnswered()
            | r.ClockJumped()
            | r.RunPaused()
            | r.RunFinished()
        ):
            pass  # they change the phase at most
    return run.but(**changes), cell


_COUNTER = {
    Verdict.KEPT: "kept",
    Verdict.DISCARDED: "discarded",
    Verdict.VOID: "void",
    Verdict.FAILED: "failed",
    Verdict.INTERRUPTED: "interrupted",
}


def _role(record: r.PassStarted | r.PassSkipped) -> bool | None:
    """Return whether a pass is a warm-up; None: a reference pass, which counts to no cell.

    What warms the reference cell up is a warm-up pass of that cell as any other is.
    """
    return None if record.reference and not record.warm_up else record.warm_up


def _phase(run: RunStanding, record: r.Record) -> str:
    following = TRANSITIONS[Phase(run.phase)].get(type(record))
    return run.phase if following is None else following.value


def _in_group(cell: CellStanding, group: int) -> CellStanding:
    """Return *cell* with its counts begun anew where the group is another one."""
    if cell.group == group:
        return cell
    return CellStanding(cell=cell.cell, state=cell.state, group=group, attempts=cell.attempts)


def _counted(cell: CellStanding, counter: str, by: int = 1) -> CellStanding:
    return cell.but(**{counter: getattr(cell, counter) + by})


def _closed(run: RunStanding, before: str, after: str) -> dict[str, Any]:
    """Return the run's counts of closed cells after one goes from *before* to *after*."""
    counts = {"accepted": run.accepted, "short": run.short, "failed": run.failed}
    if before in counts:
        counts[before] -= 1
    if after in counts:
        counts[after] += 1
    return dict(counts)
