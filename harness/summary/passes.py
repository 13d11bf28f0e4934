"""The passes of a run, gathered from its records: verdict, figures, marks, group.

Pure. Records are taken as they are: nothing is judged again. A figure that cannot be, from an
old store, is not measured.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import assert_never

from harness.plan.document import Plan
from harness.rules.believable import believed
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.ports import Entry

#: Gives the entries and the frozen plan of an earlier run, by its name.
EarlierRun = Callable[[str], tuple[Sequence[Entry], Plan]]


@dataclass(slots=True, kw_only=True)
class Pass:
    """One pass as its records tell it. ``verdict`` is None while it is in progress."""

    attempt: int
    group: int
    warm_up: bool
    reference: bool = False  #: counts to no cell; its warm-up passes are the cell's own
    order: int = 0  #: of its start among all passes of the run, from 1
    marks: list[str] = field(default_factory=list)
    verdict: Verdict | None = None
    figures: tuple[Figure, ...] = ()
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SupersededPasses:
    """The passes of a cell that a rerun took the place of, and how the cell stood with them."""

    reopened: r.CellReopened
    passes: tuple[Pass, ...]
    closed: r.CellClosed | None


@dataclass(slots=True, kw_only=True)
class CellPasses:
    """The passes of one cell that are not superseded, by attempt, and how the cell stands."""

    passes: dict[int, Pass] = field(default_factory=dict)
    closed: r.CellClosed | None = None
    reused: r.CellReused | None = None
    sized: r.CellSized | None = None
    superseded: list[SupersededPasses] = field(default_factory=list)


@dataclass(slots=True, kw_only=True)
class RunPasses:
    """All passes of one run, by cell key."""

    started: r.RunStarted | None = None
    group: int = 0  #: the group that is open
    begun: int = 0  #: passes that were started or skipped
    cells: dict[str, CellPasses] = field(default_factory=dict)


def gather(records: Iterable[r.Record]) -> RunPasses:
    """Return the passes that *records* of one run tell of, superseded ones left out."""
    run = RunPasses()
    for record in records:
        match record:
            case r.RunStarted():
                run.started = record
            case r.GroupOpened():
                run.group = record.group
            case r.PassStarted():
                run.begun += 1
                _cell(run, record.cell).passes[record.attempt] = Pass(
                    attempt=record.attempt,
                    group=record.group,
                    warm_up=record.warm_up,
                    reference=record.reference and not record.warm_up,
                    order=run.begun,
                    marks=list(record.marks),
                )
            case r.PassSkipped():
                run.begun += 1
                _cell(run, record.cell).passes[record.attempt] = Pass(
                    attempt=record.attempt,
                    group=record.group,
                    warm_up=record.warm_up,
                    reference=record.reference and not record.warm_up,
                    order=run.begun,
                    verdict=Verdict.FAILED,
                )
            case r.PassEnded():
                ended = _cell(run, record.cell).passes[record.attempt]
                ended.figures, ended.flags = believed(record.figures), record.flags
            case r.PassJudged():
                judged = _cell(run, record.cell).passes[record.attempt]
                judged.verdict = record.verdict
                judged.marks = list(dict.fromkeys([*judged.marks, *record.marks]))
            case r.PassDiscarded():
                _discarded(_cell(run, record.cell).passes[record.attempt], record)
            case r.CellClosed():
                _cell(run, record.cell).closed = record
            case r.CellSized():
                _cell(run, record.cell).sized = record
            case r.CellReused():
                _cell(run, record.cell).reused = record
            case r.CellReopened():
                _reopened(_cell(run, record.cell), record)
            case (
                r.RunnerStarted()
                | r.ReuseOffered()
                | r.ReuseTurnedDown()
                | r.CellWarmedUp()
                | r.LimitCleared()
                | r.AlarmRaised()
                | r.BlockOpened()
                | r.BlockClosed()
                | r.RoundStarted()
                | r.StepAsked()
                | r.StepConfirmed()
                | r.RigSettled()
                | r.LevelOrdered()
                | r.LevelVerified()
                | r.LevelNotMet()
                | r.LevelPutBack()
                | r.RigHeld()
                | r.RigReleased()
                | r.RequestAnswered()
                | r.ClockJumped()
                | r.RunPaused()
                | r.RunFinished()
            ):
                pass  # tells nothing of one pass
            case _:
                assert_never(record)
    return run


def _cell(run: RunPasses, key: str) -> CellPasses:
    return run.cells.setdefault(key, CellPasses())


def _reopened(cell: CellPasses, record: r.CellReopened) -> None:
    """Set the superseded passes aside; a reference pass says how the rig was, and stays."""
    gone = [
        cell.passes.pop(attempt)
        for attempt in record.superseded
        if attempt in cell.passes and not cell.passes[attempt].reference
    ]
    if gone:
        cell.superseded.append(
            SupersededPasses(reopened=record, passes=tuple(gone), closed=cell.closed)
        )
    cell.closed = cell.reused = None


def _discarded(each: Pass, record: r.PassDiscarded) -> None:
    if record.discarded:
        each.verdict = Verdict.DISCARDED
        return
    # A rule marks only where nothing is discarded, and then the cell closes: no mark of an
    # earlier asking is left over.
    each.marks.append(f"{record.rule}: {record.reason}")
