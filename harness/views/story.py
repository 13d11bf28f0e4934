"""A record as one sentence: the story of a cell or a pass, and the plain lines of a run.

Pure.
"""

from __future__ import annotations

from typing import assert_never

from harness.rig.readings import shown
from harness.rules.judge import end_words, other_words
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.clock_watch import jump_words, sleep_words
from harness.run.state import Grid
from harness.views.foretold import foretold_words
from harness.views.numbers import number


def sentence(record: r.Record, grid: Grid) -> str:
    """Return *record* as a person reads it, with units, without a full stop."""
    match record:
        case r.RunStarted():
            where = f"on {record.rig}, harness {record.harness}"
            return f"run {record.run} of {record.plan_file} began {where}"
        case r.RunnerStarted(ended=ended, given_back=back, sleep=sleep, attended_by=who):
            found = f"; ended what an earlier runner had left: {'; '.join(ended)}" if ended else ""
            found += f"; gave back what a pass had put in place: {'; '.join(back)}" if back else ""
            found += f"; {sleep}" if sleep else ""
            there = f", started at a terminal by {who}" if who else ""
            return f"a runner took the run up{there}{found}"
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
        case r.CellWarmedUp():
            what = "warmed up" if record.steady else "not steady, goes on marked"
            return f"{_label(grid, record.cell)}: {what}: {record.reason}"
        case r.CellClosed():
            attempts = ", ".join(map(str, record.kept))
            counted = f"; attempts {attempts} count" if attempts else ""
            return f"{_label(grid, record.cell)}: {record.state.value} ({record.reason}{counted})"
        case r.CellReopened():
            asked = f"asked by {record.by}{_note(record.reason)}"
            gone = ", ".join(map(str, record.superseded))
            kept = f"; attempts {gone} are superseded, and kept" if gone else ""
            return f"{_label(grid, record.cell)}: to be measured again, {asked}{kept}"
        case r.ReuseOffered() | r.ReuseTurnedDown() | r.CellReused():
            return _reuse(record, grid)
        case r.CellSized():
            return f"{_label(grid, record.cell)}: {record.passes} passes wanted: {record.reason}"
        case r.LimitCleared():
            seen = _came(record.reading, record.value, record.unit)
            return f"after the limit {seen}, {record.waited_s:.0f} s after its command was ended"
        case r.AlarmRaised():
            seen = _came(record.reading, record.value, record.unit)
            return (
                f"ALARM: {seen} after {record.waited_s:.0f} s, and must become {record.bound}: "
                f"{record.reason}. Look at the rig now; switch it off if it stays so"
            )
        case r.RigHeld():
            told = foretold_words(record.foretold)
            return f"THE RIG IS HELD ({record.fault}): {record.reason}{told}"
        case r.RigReleased():
            return f"the rig was released by {record.by}{_note(record.note)}"
        case r.RequestAnswered():
            verb = "granted" if record.accepted else "refused"
            return f"request {record.request} {verb}: {record.answer}"
        case r.ClockJumped():
            during = f", during attempt {record.during}" if record.during else ""
            return f"{_clocks(record)}{during}; durations are not taken from it"
        case r.RunPaused():
            return f"the runner stopped: {record.reason}"
        case r.RunFinished():
            return (
                f"the run is finished; of its cells {record.accepted} accepted, "
                f"{record.short} short, {record.failed} failed"
            )
        case _:
            assert_never(record)


def _earlier(cells: int) -> str:
    return f"{cells} earlier {'cell' if cells == 1 else 'cells'}"


def _reuse(record: r.ReuseOffered | r.ReuseTurnedDown | r.CellReused, grid: Grid) -> str:
    match record:
        case r.ReuseOffered():
            not_taken = "; ".join(f"{_label(grid, key)}: {why}" for key, why in record.refused)
            return f"{_earlier(len(record.offers))} may be taken" + (
                f"; not taken: {not_taken}" if not_taken else ""
            )
        case r.ReuseTurnedDown():
            number = len(record.cells)
            are = "is" if number == 1 else "are"
            return f"{_earlier(number)} {are} measured after all: {record.reason}"
        case r.CellReused():
            attempts = ", ".join(map(str, record.kept))
            checked = f"; {record.reason}" if record.reason else ""
            return (
                f"{_label(grid, record.cell)}: taken from run {record.run}, measured at "
                f"{record.measured_at[:16]}, attempts {attempts}{checked}"
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
            again = "" if record.attend else "asked again: "
            again = f" ({again}{record.why})" if record.why else ""
            return f"step {record.step} is to be done by a person: {' '.join(record.say)}{again}"
        case r.StepConfirmed():
            stays = ", who stays for the first pass" if record.attending else ""
            return f"step {record.step} was confirmed by {record.by}{stays}{_note(record.note)}"
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
            if record.preload:
                what = "pass to warm the part into its band"
            if record.reference:
                what = f"{what} for the reference" if record.warm_up else "reference pass"
            marks = f"; {'; '.join(record.marks)}" if record.marks else ""
            place = "" if record.reference else f", round {record.round}"
            told = foretold_words(record.foretold)
            return f"{what} started{place}, waited {record.waited_s:.1f} s{told}{marks}"
        case r.PassSkipped():
            return f"not carried out: {record.reason}{foretold_words(record.foretold)}"
        case r.PassEnded():
            parts = [end_words(record.end) if record.end else "nobody saw it end"]
            if record.frames is not None:
                parts.append(f"{record.frames} frames")
            parts += [figure_words(each) for each in record.figures if each.name == "average_fps"]
            parts += [f"flag {flag}" for flag in record.flags]
            parts += [other_words(record.others).removeprefix("; ")] if record.others else []
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
    return f"{figure.name} {number(figure.value, figure.unit)}"


def _label(grid: Grid, cell: str) -> str:
    return grid.cells[cell].label if cell in grid.cells else cell


def _clocks(jump: r.ClockJumped) -> str:
    said = [jump_words(jump.by_s, at_least=jump.at_least)] if jump.by_s else []
    said += [sleep_words(jump.slept_s)] if jump.slept_s else []
    return " and ".join(said) + (" while no runner was there" if jump.unwatched else "")


def _note(note: str) -> str:
    return f": {note}" if note else ""


def _came(reading: str, value: float | None, unit: str) -> str:
    if value is None:
        return f"{reading} was not measured"
    return f"{reading} was {value:.6g} {unit}".rstrip()
