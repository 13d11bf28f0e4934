"""What must hold after every night, held against the records alone.

Touches nothing. None of it uses the machine's own code. That the state is the fold of the
records is held at the end of each night (``nights.play``).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from harness.plan import document as d
from harness.plan.cells import Cell, cells
from harness.rules.judgement import Verdict
from harness.run import records as r
from nights.night import Night

Attempt = tuple[str, int]

#: Longer than any wait or pass of these plans, s: no duration is taken from the clock of the day.
LONGEST_S = 3600.0


@dataclass(slots=True)
class Seen:
    """What the records have said so far."""

    night: Night
    started: dict[Attempt, r.PassStarted] = field(default_factory=dict)
    ended: dict[Attempt, r.PassEnded] = field(default_factory=dict)
    verdicts: dict[Attempt, Verdict] = field(default_factory=dict)
    discarded: set[Attempt] = field(default_factory=set)
    superseded: set[Attempt] = field(default_factory=set)
    closed: dict[str, r.CellClosed | r.CellReused] = field(default_factory=dict)
    counted: Counter[tuple[str, int, int]] = field(default_factory=Counter)
    reopened: Counter[str] = field(default_factory=Counter)
    sized: dict[str, int] = field(default_factory=dict)
    offered: set[str] = field(default_factory=set)
    levels: dict[str, str] = field(default_factory=dict)  #: in force, as far as records say
    ordered: tuple[str, str] | None = None
    step: int | None = None
    opened: bool = False  #: a step opened the case, and no pass is over since
    attended: bool = False  #: somebody stays, by a word that this runner has heard
    hold: str | None = None
    holds: set[str] = field(default_factory=set)
    group: int = 0
    block: int | None = None
    runner: bool = False
    finished: bool = False
    checked: int = 0
    cells: dict[str, Cell] = field(init=False)  #: of the plan, by key

    def __post_init__(self) -> None:
        """Look the plan's cells up once."""
        self.cells = {cell.key: cell for cell in cells(self.night.plan)}

    def sure(self, true: bool, words: str) -> None:
        """Count one check; raise AssertionError(words) where it does not hold."""
        self.checked += 1
        if not true:
            raise AssertionError(words)


def check(night: Night) -> int:
    """Hold the invariants against the records of *night*; return how many checks were made.

    Raises:
        AssertionError: one does not hold.
    """
    seen = Seen(night=night)
    records = night.records
    seen.sure(isinstance(records[0], r.RunStarted), "the run does not begin with its plan")
    for record in records[1:]:
        _follow(seen, record)
    _at_the_end(seen)
    _warming(seen, records)
    seen.sure(set(seen.closed) == set(seen.cells), "the plan is not finished")
    seen.sure(seen.finished, "nothing says that the run is finished")
    names = [f"{cell}-{attempt:03d}" for cell, attempt in seen.started]
    launched = Counter(night.bench.launched)
    seen.sure(set(launched) <= set(names), "something was launched without a record")
    seen.sure(all(times == 1 for times in launched.values()), "an attempt was launched twice")
    return seen.checked


def _follow(seen: Seen, record: r.Record) -> None:
    """Hold one record against those before it: its predecessor is there."""
    sure = seen.sure
    match record:
        case r.RunnerStarted():
            seen.runner = True
            seen.attended = False
            seen.ordered = None
            seen.levels.clear()
        case r.GroupOpened():
            sure(seen.runner and record.group == seen.group + 1, "a group out of order")
            seen.group = record.group
        case r.BlockOpened():
            sure(seen.block is None and seen.group > 0, "a block within a block, or in no group")
            seen.block = record.block
        case r.BlockClosed():
            sure(seen.block == record.block, "a block is closed that was not open")
            seen.block = None
        case r.StepAsked():
            sure(seen.step is None and seen.hold is None, "a step is asked while one is open")
            seen.step = record.step
            seen.opened = seen.opened or record.opens_case
        case r.StepConfirmed():
            sure(seen.step == record.step, "a step is confirmed that was not open")
            seen.step = None
            seen.attended = seen.attended or (record.attending and not record.before)
            seen.levels.clear()
        case r.LevelOrdered():
            sure(seen.hold is None, "a level is set on a held rig")
            seen.ordered = (record.condition, record.level)
            seen.levels.pop(record.condition, None)
        case r.LevelVerified():
            seen.levels[record.condition] = record.level
        case r.LevelNotMet() | r.LevelPutBack():
            seen.levels.pop(record.condition, None)
        case r.PassStarted() | r.PassSkipped() | r.PassEnded() | r.PassJudged():
            _pass(seen, record)
        case r.PassDiscarded():
            key = (record.cell, record.attempt)
            sure(seen.verdicts[key] is Verdict.KEPT, "a rule discarded what was not kept")
            if record.discarded:
                seen.discarded.add(key)
        case r.CellSized():
            sure(record.cell not in seen.closed, "a closed cell is sized")
            seen.sized[record.cell] = record.passes
        case r.CellClosed():
            sure(record.cell not in seen.closed, "a cell was closed twice")
            seen.closed[record.cell] = record
        case r.ReuseOffered():
            seen.offered = {offer.cell for offer in record.offers}
        case r.ReuseTurnedDown():
            sure(set(record.cells) <= seen.offered, "turned down without an offer")
            seen.offered = set()
        case r.CellReused():
            sure(record.cell in seen.offered, "a cell is taken that was not offered")
            sure(record.cell not in seen.closed, "a closed cell is taken")
            seen.offered.discard(record.cell)
            seen.closed[record.cell] = record
            seen.night.counts["cells reused"] += 1
        case r.CellReopened():
            seen.reopened[record.cell] += 1
            seen.closed.pop(record.cell, None)
            seen.sized.pop(record.cell, None)
            seen.superseded.update((record.cell, attempt) for attempt in record.superseded)
            left = {each for each in seen.started if each[0] == record.cell}
            sure(left <= seen.superseded, "a rerun left a pass of its cell standing")
            seen.finished = False
        case r.RigHeld():
            sure(record.hold not in seen.holds, "a hold is on record twice")
            seen.holds.add(record.hold)
            seen.hold, seen.step = record.hold, None
            seen.levels.clear()
            seen.night.counts[f"held: {record.fault}"] += 1
        case r.RigReleased():
            sure(seen.hold == record.hold, "a hold is released that did not stand")
            seen.hold, seen.finished = None, False
        case r.ClockJumped():
            seen.night.counts["clock jumps on record"] += 1
        case r.RunFinished():
            sure(seen.block is None and seen.hold is None, "finished within a block, or held")
            seen.finished = True
        case _:
            pass


def _pass(seen: Seen, record: r.PassStarted | r.PassSkipped | r.PassEnded | r.PassJudged) -> None:
    sure, key = seen.sure, (record.cell, record.attempt)
    match record:
        case r.PassStarted():
            sure(key not in seen.started, "an attempt was started twice")
            sure(seen.hold is None, "a pass was started on a held rig")
            sure(seen.step is None, "a pass was started while a step is open")
            there = seen.attended or not seen.opened
            sure(there, "the first pass after an opened case was started with nobody there")
            sure(record.group == seen.group > 0, "a pass in no group")
            sure(record.block == seen.block, "a pass outside its block")
            sure(record.cell not in seen.closed or record.reference, "a pass in a closed cell")
            sure(0.0 <= record.waited_s < LONGEST_S, "a wait that cannot be")
            seen.started[key] = record
        case r.PassSkipped():
            sure(seen.hold is None, "a pass was skipped on a held rig")
            if not (record.warm_up or record.reference):
                _count(seen, record.cell, record.group)
        case r.PassEnded():
            sure(key in seen.started, "a pass ended that was not started")
            sure(key not in seen.ended, "a pass ended twice")
            if record.end is not None:
                sure(0.0 <= record.end.wall_s < LONGEST_S, "a length that cannot be")
            seen.ended[key] = record
        case r.PassJudged():
            sure(key in seen.ended and key not in seen.verdicts, "a verdict out of order")
            seen.verdicts[key] = record.verdict
            if record.verdict in (Verdict.KEPT, Verdict.VOID) and seen.ended[key].limit is None:
                seen.opened = False
            if record.fault:
                seen.night.faults[record.fault] += 1
            if record.verdict is Verdict.KEPT:
                _well(seen, seen.started[key], seen.ended[key])
            own = not (seen.started[key].warm_up or seen.started[key].reference)
            if own and record.verdict is not Verdict.INTERRUPTED:
                _count(seen, record.cell, seen.started[key].group)


def _count(seen: Seen, cell: str, group: int) -> None:
    seen.counted[cell, group, seen.reopened[cell]] += 1


def _well(seen: Seen, started: r.PassStarted, ended: r.PassEnded) -> None:
    """A kept pass ran under the levels of its cell, its guards met, over no jump and no sleep."""
    sure = seen.sure
    sure(not ended.guards and not ended.expects, "a kept pass with a guard that was breached")
    sure(ended.limit is None, "a kept pass with a limit that was passed")
    sure(ended.slept_s == ended.clock_jumped_s == 0.0, "a kept pass over a sleep or a jump")
    sure(ended.end is not None and ended.end.status == 0, "a kept pass that did not end well")
    power = dict(seen.cells[started.cell].levels).get("power")
    sure(seen.levels.get("power") == power, "a kept pass under a level that was not verified")


def _at_the_end(seen: Seen) -> None:
    """Nothing kept is lost or doubled, and what closed a cell is there."""
    sure, keep, at_most = seen.sure, seen.night.plan.passes.keep, seen.night.plan.passes.at_most
    sure(set(seen.verdicts) == set(seen.started), "a pass has no verdict")
    sure(all(times <= at_most for times in seen.counted.values()), "a cell used up too many passes")
    for cell, record in seen.closed.items():
        if isinstance(record, r.CellReused):
            continue
        keys = [(cell, attempt) for attempt in record.kept]
        sure(len(set(keys)) == len(keys), "an attempt counts twice")
        for key in keys:
            kept = seen.verdicts[key] is Verdict.KEPT and key not in seen.discarded
            sure(kept, "an attempt counts that was not kept")
            sure(key not in seen.superseded, "a superseded pass counts")
            started = seen.started[key]
            sure(not (started.warm_up or started.reference), "a warm-up or a reference counts")
            sure(started.group == record.group, "passes of two groups in one cell")
        if record.state is r.CellState.ACCEPTED:
            wanted = seen.sized.get(cell, keep)
            enough = len(keys) == wanted or keep <= len(keys) < wanted
            sure(enough, "accepted with too few passes, or too many")


def _warming(seen: Seen, records: list[r.Record]) -> None:
    """What is promised of gates, of preloads, of warm-ups until steady and of limits."""
    night, sure = seen.night, seen.sure
    (gate,), warm_up = night.plan.gates, night.plan.passes.warm_up
    preloads = 0
    unproven: str | None = None
    warm: Counter[str] = Counter()
    steady: dict[str, bool] = {}
    for record in records:
        match record:
            case r.PassStarted():
                preloads = preloads + 1 if record.preload else 0
                sure(preloads <= 10, "a preload without an end")
                sure(gate.preload or not record.preload, "a preload that the plan has not")
                sure(record.warm_up or not record.preload, "a preload pass that counts")
                night.counts["preloads"] += record.preload
                night.counts["gave up early"] += (
                    record.gate is not None and record.gate.floor is not None
                )
                if not record.warm_up:
                    sure(_in_band(gate.bound, record), "a pass starts outside its gate")
                if warm_up.within is not None and not (record.warm_up or record.reference):
                    sure(record.cell in steady, "a counted pass before the warm-up was over")
                    marked = any(mark.startswith("unsteady") for mark in record.marks)
                    sure(marked is not steady[record.cell], "the mark of an unsteady cell")
                warm[record.cell] += record.warm_up and not record.preload
            case r.CellWarmedUp():
                sure(record.passes <= warm_up.at_most, "too many warm-up passes")
                sure(record.passes <= warm[record.cell], "warm-up passes that were not carried out")
                steady[record.cell] = record.steady
                night.counts["steady" if record.steady else "unsteady"] += 1
            case r.RigHeld(limit=limit):
                unproven = record.hold if limit is not None else None
            case r.LimitCleared() | r.AlarmRaised():
                sure(record.hold == unproven, "a proof that nobody waited for")
                unproven = None
                alarm = isinstance(record, r.AlarmRaised)
                night.counts["alarms" if alarm else "proofs"] += 1
            case _:
                pass


def _in_band(bound: d.Bound, started: r.PassStarted) -> bool:
    """A counted pass starts inside the bound of its gate, unless the gate gave up."""
    value = next(each.value for each in started.readings if each.name == bound.reading)
    assert isinstance(value, float)
    low = bound.at_least if bound.at_least is not None else value
    high = bound.at_most if bound.at_most is not None else value
    return started.gate is not None or low <= value <= high
