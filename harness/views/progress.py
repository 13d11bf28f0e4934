"""A run in progress as lines of text: the grid by state, the pass, its readings, time left.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import assert_never

from harness.plan.document import Plan
from harness.plan.nights import zone_of_hours
from harness.plan.words import words
from harness.rig.readings import Reading, shown
from harness.rules.gates import GateWatch
from harness.run import instructions as i
from harness.run.records import CellState
from harness.run.state import RunState
from harness.units import span
from harness.views.lengths import left_s
from harness.views.nights import hours_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What the live view shows at one moment."""

    instruction: i.Instruction | None
    since_s: float  #: how long it has been going on
    readings: Sequence[Reading]
    seen: Mapping[str, float]  #: length of a pass by cell key
    ahead: Sequence[str] = ()  #: which bounds will be reached, and when
    cost: str = ""  #: what the harness cost the pass before this moment, in words


def cell_mark(state: RunState, key: str) -> str:
    """Return how far one cell is, in a word or as kept passes of those wanted."""
    progress = state.progress[key]
    match progress.state:
        case CellState.OPEN:
            return f"{len(progress.kept)}/{state.plan.passes.keep}"
        case CellState.ACCEPTED:
            return "done"
        case CellState.SHORT:
            return "short"
        case CellState.FAILED:
            return "failed"
        case _:
            assert_never(progress.state)


def now_words(state: RunState, instruction: i.Instruction | None) -> str:
    """Return what goes on, in one line."""
    match instruction:
        case None | i.GoOn():
            return "choosing what comes next"
        case i.SetLevel(task=task):
            verb = "setting" if task.command is not None else "reading back"
            return f"{verb} {task.condition} {task.level}"
        case i.PutBack(condition=condition, level=level):
            return f"putting back what {condition} {level} changed"
        case i.Settle(seconds=seconds):
            return f"leaving the rig alone for {span(seconds)}"
        case i.AwaitHours(seconds=seconds):
            return (
                f"a person is needed, and may be asked in {span(seconds)} "
                f"(hours: {hours_of(state.plan)})"
            )
        case i.AwaitPerson(step=step):
            return f"waiting for a person: step {step.step}"
        case i.AwaitGates(cell=key, gates=gates):
            label = state.grid.cells[key].label
            waits = "; ".join(f"{gate.bound.reading} {words(gate.bound)}" for gate in gates)
            return f"before {label}: waiting for {waits}" if waits else f"before {label}"
        case i.AwaitProof(gate=gate, reading=reading):
            return f"a limit was passed: {reading} must become {words(gate.bound)}"
        case i.CarryOut(cell=key, attempt=attempt, warm_up=warm_up, reference=reference):
            kept = len(state.progress[key].kept) + 1
            what = "warm-up pass" if warm_up else f"pass {kept} of {state.plan.passes.keep}"
            if reference:
                what = "warm-up pass before the reference pass" if warm_up else "reference pass"
            return f"{state.grid.cells[key].label}: {what} (attempt {attempt})"
        case i.Leave(outcome=outcome):
            return f"run {outcome.value}"
        case _:
            assert_never(instruction)


def hours_of(plan: Plan) -> str:
    """Return when a person may be asked, in words, with the zone; empty: at any hour."""
    person = plan.person
    if person is None:
        return ""
    return hours_words(start=person.from_minute, end=person.to_minute, zone=zone_of_hours(plan))


def still_s(
    state: RunState,
    instruction: i.Instruction | None,
    *,
    seen: Mapping[str, float],
    since_s: float = 0.0,
) -> float:
    """Return the seconds that a run still takes if nothing goes wrong.

    A wait for a person's hours that has begun is in it; what persons take, and hours that are
    waited for later, are not.

    Args:
        state: The run.
        instruction: What is done now.
        seen: Length of a pass by cell key, as ``left_s`` takes it.
        since_s: How long it has been going on.
    """
    waits = instruction.seconds - since_s if isinstance(instruction, i.AwaitHours) else 0.0
    return max(0.0, waits) + left_s(state, seen=seen)


def ahead(watch: GateWatch, *, waited_s: float) -> list[str]:
    """Return which bounds of a wait will be reached, and when, as far as that can be told."""
    found = []
    for number, gate in enumerate(watch.gates):
        left_s = watch.left_s(number, waited_s=waited_s)
        if left_s is not None:
            about = span(max(10.0, round(left_s, -1)))
            found.append(f"{gate.bound.reading} {words(gate.bound)} in about {about}")
    return found


def tally(state: RunState) -> str:
    """Return how many cells are in each state, in one line."""
    counts = dict.fromkeys(CellState, 0)
    for progress in state.progress.values():
        counts[progress.state] += 1
    return ", ".join(f"{counts[each]} {each.value}" for each in CellState)


def lines(state: RunState, moment: Moment, *, width: int, height: int) -> list[str]:
    """Return the live view, at most *height* lines of at most *width* characters.

    A grid that does not fit is cut to the rows around the cell in turn, and says so.
    """
    running = now_words(state, moment.instruction)
    left = still_s(state, moment.instruction, seen=moment.seen, since_s=moment.since_s)
    tail = [
        "",
        f"now   {running}",
        f"      {span(moment.since_s)} so far",
        *([f"      {_readings(moment.readings)}"] if moment.readings else []),
        *([f"      {'; '.join(moment.ahead)}"] if moment.ahead else []),
        *([f"last  {moment.cost}"] if moment.cost else []),
        f"left  about {span(left)} if nothing goes wrong",
        "      Ctrl-C stops after ending the pass; the same command goes on",
    ]
    head = [f"{state.plan.name}   run {state.run}", tally(state), ""]
    room = max(3, height - len(head) - len(tail))
    body = grid_lines(state, around=getattr(moment.instruction, "cell", None), room=room)
    return [_fit(line, width) for line in (*head, *body, *tail)]


def grid_lines(state: RunState, *, around: str | None, room: int) -> list[str]:
    """Return the grid: a row per title, scene and setting, a column per levels."""
    rows: dict[str, dict[str, str]] = {}
    columns: dict[str, None] = {}
    current = None
    for key, cell in state.grid.cells.items():
        row = f"{cell.title}, {cell.scene}, {cell.setting}"
        column = ", ".join(level for _, level in cell.levels) or "cell"
        columns[column] = None
        mark = cell_mark(state, key)
        if key == around:
            current, mark = row, f"[{mark}]"
        rows.setdefault(row, {})[column] = mark
    first = max(map(len, rows))
    widths = {column: max(len(column), 8) for column in columns}
    header = " " * first + "".join(f"  {column:>{widths[column]}}" for column in columns)
    table = [
        f"{row:<{first}}" + "".join(f"  {marks.get(c, ''):>{widths[c]}}" for c in columns)
        for row, marks in rows.items()
    ]
    if len(table) + 1 > room:
        at = list(rows).index(current) if current is not None else 0
        start = max(0, min(at - room // 2, len(table) - (room - 2)))
        shown_rows = table[start : start + room - 2]
        table = [*shown_rows, f"… {len(rows) - len(shown_rows)} more rows"]
    return [header, *table]


def _readings(readings: Sequence[Reading]) -> str:
    return "   ".join(
        f"{reading.name} {shown(reading)}" for reading in readings if reading.measured
    )


def _fit(line: str, width: int) -> str:
    return line if len(line) <= width else line[: max(0, width - 1)] + "…"
