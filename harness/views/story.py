"""A record as one sentence: the story of a cell or a pass, and the plain lines of a run.

Pure.
"""

from __future__ import annotations

from typing import assert_never

from harness.rig.readings import shown
from harness.rules.judge import end_words
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.state import Grid


def sentence(record: r.Record, grid: Grid) -> str:
    """Return *record* as a person reads it, with units, without a full stop."""
    match record:
        case r.RunStarted():
            where = f"on {record.rig}, harness {record.harness}"
            return f"run {record.run} of {record.plan_file} began {where}"
        case r.RunnerStarted(ended=ended):
            found = f"; ended what an earlier runner had left: {'; '.join(ended)}" if ended else ""
            return f"a runner took the run up{found}"
        case r.GroupOpened():
            changed = f": {'; '.join(record.changed)}" if record.changed else ""
            return f"group {record.group} of passes under one fingerprint began{changed}"
        case r.BlockOpened(block=number):
            levels = ", ".join(f"{c} {level}" for c, level in grid.blocks[number].levels)
            return f"block {number + 1} of {len(grid.blocks)} began{': ' if levels else ''}{levels}"
        case r.BlockClosed(block=number):
            return f"block {number + 1} of {len(grid.blocks)} is done"
        case r.RoundStarted():
            return f"round {record.round} over {len(record.cells)} cells began"
        case (
            r.StepAsked()
            | r.StepConfirmed()
            | r.RigSettled()
            | r.LevelOrdered()
            | r.LevelVerified()
            | r.LevelNotMet()
            | r.LevelPutBack()
        ):
            return _hardware(record)
        case r.PassStarted() | r.PassSkipped() | r.PassEnded() | r.PassJudged() | r.PassDiscarded():
            return f"{_label(grid, record.cell)}, attempt {record.attempt}: {_pass(record)}"
        case r.CellClosed():
            attempts = ", ".join(map(str, record.kept))
            counted = f"; attempts {attempts} count" if attempts else ""
            return f"{_label(grid, record.cell)}: {record.state.value} ({record.reason}{counted})"
        case r.CellReopened():
            asked = f"asked by {record.by}{_note(record.reason)}"
            return f"{_label(grid, record.cell)}: to be measured again, {asked}"
        case r.RigHeld():
            return f"THE RIG IS HELD ({record.fault}): {record.reason}"
        case r.RigReleased():
            return f"the rig was released by {record.by}{_note(record.note)}"
        case r.RequestAnswered():
            verb = "granted" if record.accepted else "refused"
            return f"request {record.request} {verb}: {record.answer}"
        case r.RunPaused():
            return f"the runner stopped: {record.reason}"
        case r.RunFinished():
            return (
                f"the run is finished: {record.accepted} cells accepted, "
                f"{record.short} short, {record.failed} failed"
            )
        case _:
            assert_never(record)


_Hardware = (
    r.StepAsked
    | r.StepConfirmed
    | r.RigSettled
    | r.LevelOrdered
    | r.LevelVerified
    | r.LevelNotMet
    | r.LevelPutBack
)


def _hardware(record: _Hardware) -> str:
    match record:
        case r.StepAsked():
            again = f" (asked again: {record.why})" if record.why else ""
            return f"step {record.step} is to be done by a person: {' '.join(record.say)}{again}"
        case r.StepConfirmed():
            return f"step {record.step} was confirmed by {record.by}{_note(record.note)}"
        case r.RigSettled():
            return f"the rig was left alone for {record.seconds:g} s"
        case r.LevelOrdered():
            return f"{record.condition} {record.level} is being set"
        case r.LevelVerified():
            read = "; ".join(f"{each.name} {shown(each)}" for each in record.readings)
            return f"{record.condition} {record.level} is in force{': ' if read else ''}{read}"
        case r.LevelNotMet():
            return f"{record.condition} {record.level} is not in force: {record.reason}"
        case r.LevelPutBack():
            if record.problem:
                return f"{record.condition} {record.level} was NOT put back: {record.problem}"
            return f"what {record.condition} {record.level} had changed was put back"
        case _:
            assert_never(record)


def _pass(
    record: r.PassStarted | r.PassSkipped | r.PassEnded | r.PassJudged | r.PassDiscarded,
) -> str:
    match record:
        case r.PassStarted():
            what = "warm-up pass" if record.warm_up else "pass"
            marks = f"; {'; '.join(record.marks)}" if record.marks else ""
            return f"{what} started, round {record.round}, waited {record.waited_s:.1f} s{marks}"
        case r.PassSkipped():
            return f"not carried out: {record.reason}"
        case r.PassEnded():
            parts = [end_words(record.end) if record.end else "nobody saw it end"]
            if record.frames is not None:
                parts.append(f"{record.frames} frames")
            parts += [figure_words(each) for each in record.figures if each.name == "average_fps"]
            parts += [f"flag {flag}" for flag in record.flags]
            if record.bundle is not None:
                parts.append(f"kept as {record.bundle.path}")
            return "; ".join(parts)
        case r.PassJudged():
            if record.marks and record.verdict is Verdict.KEPT:
                return f"kept and marked: {'; '.join(record.marks)}"
            return f"{record.verdict.value}: {record.reason}"
        case r.PassDiscarded():
            verb = "discarded" if record.discarded else "marked"
            return (
                f"{verb} by {record.rule} on {record.on}: {record.reason} "
                f"(statistic {record.statistic:.6g}, critical {record.critical:.6g}, "
                f"{record.passes} passes)"
            )
        case _:
            assert_never(record)


def figure_words(figure: Figure) -> str:
    """Return a figure with its unit, or why it was not measured."""
    if figure.value is None:
        return f"{figure.name} not measured: {figure.why}"
    return f"{figure.name} {figure.value:.4g} {figure.unit}".rstrip()


def _label(grid: Grid, cell: str) -> str:
    return grid.cells[cell].label if cell in grid.cells else cell


def _note(note: str) -> str:
    return f": {note}" if note else ""
