"""A rehearsal as a person reads it.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta, tzinfo

from harness.plan.cells import Cell
from harness.rules.judgement import Verdict
from harness.run.records import CellState
from harness.summary.assumed import Assumed, Length, Part
from harness.summary.diary import (
    Rehearsal,
    RehearsedPass,
    RehearsedStep,
)
from harness.units import span
from harness.views.safety import OPENED_CASE

#: Rows of the order that are shown without being asked for more.
MOST_ROWS = 30

_SPENT = {
    "passes": "passes",
    "gates": "waiting at gates",
    "levels": "setting levels",
    "settling": "settling",
    "person": "a person's steps",
    "hours": "waiting for a person's hours",
}


def as_text(
    name: str,
    told: Rehearsal,
    taken: Assumed,
    cells: dict[str, Cell],
    *,
    zone: tzinfo | None,
    person_s: float,
    seed: int | None,
    rows: int | None = MOST_ROWS,
) -> Iterator[str]:
    """Yield the lines of a rehearsal.

    Args:
        name: The plan's name.
        told: What came of it.
        taken: What was taken for granted.
        cells: The plan's cells, by key.
        zone: The zone of the rig's wall clock; None: this machine's.
        person_s: How long after it was asked a step was taken to be done.
        seed: The seed of a bad night; None: nothing went wrong.
        rows: How many rows of the order are shown; None: all.
    """
    when = WallClock(told.start, zone)
    yield f"plan {name}, rehearsed from {when.day(0.0)}: nothing is started, nothing is kept"
    if seed is not None:
        yield f"a bad night, seed {seed}: faults are made up, to see what the plan does with them"
    yield ""
    yield from _numbers(told, when, cells)
    yield ""
    yield from _taken(taken, person_s, steps=bool(told.steps))
    if told.steps:
        yield ""
        yield from _steps(told.steps, when)
    yield ""
    yield from _order(told, when, cells, rows)
    if told.left_over:
        yield ""
        yield from _left_over(told, cells, rows)


class WallClock:
    """Seconds of a rehearsal as the rig's wall clock shows them."""

    def __init__(self, start: datetime, zone: tzinfo | None) -> None:
        self._start, self._zone = start, zone
        self._first = start.astimezone(zone).date()

    def at(self, seconds: float) -> datetime:
        """Return the instant, as the wall clock shows it."""
        return (self._start + timedelta(seconds=seconds)).astimezone(self._zone)

    def day(self, seconds: float) -> str:
        """Return day and time of day, to the minute, with the zone that all times here are in."""
        return f"{self.at(seconds):%a %Y-%m-%d %H:%M %Z}"

    def time(self, seconds: float) -> str:
        """Return the time of day, with the days since the first where there are any."""
        at = self.at(seconds)
        days = (at.date() - self._first).days
        return f"{at:%H:%M:%S}" + (f" +{days} d" if days else "")


def _numbers(told: Rehearsal, when: WallClock, cells: dict[str, Cell]) -> Iterator[str]:
    closed = [*told.states.values()]
    by_state = ", ".join(
        f"{closed.count(state)} {state.value}" for state in CellState if closed.count(state)
    )
    yield f"  cells           {len(cells):>7}   {by_state}"
    yield f"  counted passes  {told.count('pass'):>7}   {_verdicts(told)}".rstrip()
    yield f"  warm-up passes  {told.count('warm-up'):>7}"
    if told.count("reference"):
        yield f"  reference passes{told.count('reference'):>7}"
    yield f"  person's steps  {len(told.steps):>7}"
    yield f"  length     {span(told.seconds):>12}"
    for key, words in _SPENT.items():
        if told.spent[key] >= 0.5:
            yield f"                 {span(told.spent[key]):>12}   {words}"
    if told.hold is not None:
        yield f"  finish             none   THE RIG IS HELD from {when.day(told.hold.at_s)}"
        yield f"                            {told.hold.fault}: {told.hold.reason}"
        yield f"                            do: {told.hold.do}"
    else:
        yield f"  finish          {when.day(told.seconds)}{_against_end(told, when)}"
    over = len(told.left_over)
    if told.night_end is not None or over:
        until = "" if told.night_end is None else " when the night ends"
        yield f"  left over       {over:>7}   {'cell' if over == 1 else 'cells'} not done{until}"


def _verdicts(told: Rehearsal) -> str:
    counted = [each.verdict for each in told.passes if each.what == "pass"]
    return ", ".join(f"{counted.count(v)} {v.value}" for v in Verdict if counted.count(v))


def _against_end(told: Rehearsal, when: WallClock) -> str:
    if told.night_end is None:
        return ""
    early_s = (told.night_end - told.start).total_seconds() - told.seconds
    end = when.time((told.night_end - told.start).total_seconds())
    if early_s >= 0:
        return f", {span(early_s)} before the night ends ({end})"
    return f", {span(-early_s)} AFTER the night ends ({end})"


def _taken(taken: Assumed, person_s: float, *, steps: bool) -> Iterator[str]:
    yield "  taken for granted"
    for length in taken.lengths:
        yield f"  {length.title}, {length.scene}: a pass of {_length(length)}"
    for part in taken.parts:
        yield f"  {part.reading}: {_part(part)}"
    if taken.constants:
        yield f"  as the plan wants them throughout: {', '.join(taken.constants)}"
    by_level = dict.fromkeys(name for own in taken.by_level.values() for name in own)
    if by_level:
        yield f"  while a level that sets it is in force, as that wants it: {', '.join(by_level)}"
    if steps:
        yield f"  a person's step: done {span(person_s)} after it was asked"


def _length(length: Length) -> str:
    if length.passes:
        noun = "pass" if length.passes == 1 else "passes"
        return f"{_long(length.seconds)}, from {length.passes} earlier {noun}"
    if length.bounded:
        return f"{_long(length.seconds)}, its time limit: the most it can take"
    return f"{_long(length.seconds)}, the scene's length; starting the title comes on top"


def _long(seconds: float) -> str:
    """Return a length of time; a short one to the tenth of a second."""
    return span(seconds) if seconds >= 10.0 or seconds == 0.0 else f"{seconds:.1f} s"


def _part(part: Part) -> str:
    model = part.thermal
    where = f"{model.room_c:.3g} °C at rest, {model.hot_c:.3g} °C under load"
    from_ = f"from {part.passes} earlier passes" if part.passes else "assumed"
    tau = f"time constant {model.tau_s:.3g} s"
    if model.step_c:
        tau = f"{model.step_c:.2g} °C of that gone at once, {tau}"
    waits = f"from {part.waits} earlier waits" if part.waits else "assumed"
    return f"{where} ({from_}), {tau} ({waits})"


def _steps(steps: tuple[RehearsedStep, ...], when: WallClock) -> Iterator[str]:
    yield "  a person's steps"
    for each in steps:
        times = f"{when.time(each.asked_s)} to {when.time(each.done_s)}"
        restart = " (and start the rig anew)" if each.reboot else ""
        yield f"  {each.step:>3}. {times}  {' '.join(each.say)}{restart}"
    opened = sum(each.opens_case for each in steps)
    if opened:
        yield ""
        yield f"  The case is opened {'once' if opened == 1 else f'{opened} times'}. Each time:"
        yield from (f"    - {words}" for words in OPENED_CASE)


def _order(
    told: Rehearsal, when: WallClock, cells: dict[str, Cell], rows: int | None
) -> Iterator[str]:
    yield f"  {'start':<13} {'wait':>9} {'length':>9}  what"
    for each in told.passes[:rows]:
        yield _row(each, when, cells)
    more = len(told.passes) - len(told.passes[:rows])
    if more:
        yield f"  … and {more} more passes: --all shows them"
    if told.hold is not None:
        yield f"  {when.time(told.hold.at_s):<13} {'':>9} {'':>9}  THE RIG IS HELD"


def _row(each: RehearsedPass, when: WallClock, cells: dict[str, Cell]) -> str:
    kind = f"attempt {each.attempt}" if each.what == "pass" else f"{each.what} pass"
    fate = "" if each.verdict is Verdict.KEPT else f"  {each.verdict.value}: {each.reason}"
    marks = f"  marked: {'; '.join(each.marks)}" if each.marks else ""
    wait = _long(each.waited_s) if each.waited_s else "-"
    return (
        f"  {when.time(each.at_s):<13} {wait:>9} {_long(each.seconds):>9}  "
        f"{cells[each.cell].label}, {kind}{fate}{marks}"
    )


def _left_over(told: Rehearsal, cells: dict[str, Cell], rows: int | None) -> Iterator[str]:
    yield "  left over"
    for key in told.left_over[:rows]:
        yield f"  {key}  {cells[key].label}"
    more = len(told.left_over) - len(told.left_over[:rows])
    if more:
        yield f"  … and {more} more"
