"""The passes of a run, gathered from its records: verdict, figures, marks, group.

Pure. Records are taken as they are: nothing is judged again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import assert_never

from harness.rules.judgement import Figure, Verdict
from harness.run import records as r


@dataclass(slots=True, kw_only=True)
class Pass:
    """One pass as its records tell it. ``verdict`` is None while it is in progress."""

    attempt: int
    group: int
    warm_up: bool
    marks: list[str] = field(default_factory=list)
    verdict: Verdict | None = None
    figures: tuple[Figure, ...] = ()
    flags: tuple[str, ...] = ()


@dataclass(slots=True, kw_only=True)
class CellPasses:
    """The passes of one cell that are not superseded, by attempt, and how the cell stands."""

    passes: dict[int, Pass] = field(default_factory=dict)
    closed: r.CellClosed | None = None


@dataclass(slots=True, kw_only=True)
class RunPasses:
    """All passes of one run, by cell key."""

    started: r.RunStarted | None = None
    group: int = 0  #: the group that is open
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
                _cell(run, record.cell).passes[record.attempt] = Pass(
                    attempt=record.attempt,
                    group=record.group,
                    warm_up=record.warm_up,
                    marks=list(record.marks),
                )
            case r.PassSkipped():
                _cell(run, record.cell).passes[record.attempt] = Pass(
                    attempt=record.attempt,
                    group=record.group,
                    warm_up=record.warm_up,
                    verdict=Verdict.FAILED,
                )
            case r.PassEnded():
                ended = _cell(run, record.cell).passes[record.attempt]
                ended.figures, ended.flags = record.figures, record.flags
            case r.PassJudged():
                judged = _cell(run, record.cell).passes[record.attempt]
                judged.verdict = record.verdict
                judged.marks = list(dict.fromkeys([*judged.marks, *record.marks]))
            case r.PassDiscarded():
                _discarded(_cell(run, record.cell).passes[record.attempt], record)
            case r.CellClosed():
                _cell(run, record.cell).closed = record
            case r.CellReopened():
                cell = _cell(run, record.cell)
                cell.closed = None
                for attempt in record.superseded:
                    cell.passes.pop(attempt, None)
            case (
                r.RunnerStarted()
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
                | r.RunPaused()
                | r.RunFinished()
            ):
                pass  # tells nothing of one pass
            case _:
                assert_never(record)
    return run


def _cell(run: RunPasses, key: str) -> CellPasses:
    return run.cells.setdefault(key, CellPasses())


def _discarded(each: Pass, record: r.PassDiscarded) -> None:
    if record.discarded:
        each.verdict = Verdict.DISCARDED
        return
    # A rule marks only where nothing is discarded, and then the cell closes: no mark of an
    # earlier asking is left over.
    each.marks.append(f"{record.rule}: {record.reason}")
