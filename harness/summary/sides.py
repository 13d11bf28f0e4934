"""A run's records -> its cells with the value of every pass, ready to stand on one side.

Pure. Beside the values stand what decides whether two cells may be compared (procedure,
definitions, fingerprint) and how (visit, round). Passes that were superseded, reference passes
and those of another group are out of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from harness.plan.canonical import procedure
from harness.plan.cells import Cell, cells
from harness.plan.document import By, Plan
from harness.rules.judgement import Figure, ReadingSummary, Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.run.records import CellState
from harness.summary.apart import references_apart
from harness.summary.passes import CellPasses, EarlierRun, Pass, gather
from harness.summary.run_nights import RunNights

#: Stay, round and night of a pass whose start is not on record.
_NOWHERE = (0, 0, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPass:
    """One kept pass.

    Args:
        attempt: Its number within the cell.
        stay: Which opening of a block it was measured in, from 1: one state of the hardware.
        round: The round within that stay.
        figures: By name.
        readings: Summaries of what was read during it, by name.
        marks: What keeps it out of comparisons unless asked.
        night: The night of the run it was measured in, from 1: a pause of more than six hours
            between two passes of the run begins another.
        fixed: The figure whose spread in the first passes, this one among them, fixed how many
            there are; empty: none did.
    """

    attempt: int
    stay: int
    round: int
    figures: Mapping[str, Figure]
    readings: Mapping[str, ReadingSummary]
    marks: tuple[str, ...]
    night: int = 1
    fixed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideCell:
    """One cell under one fingerprint, as a side of a comparison has it.

    Args:
        run: The run.
        rig: The rig.
        plan: The run's frozen plan.
        cell: The cell.
        group: The group of passes under one fingerprint.
        current: Whether this is the group that the cell stands in.
        state: Where the cell stands in that group.
        kept: Its kept passes, marked ones among them, by attempt.
        procedure: All that can move its number, by name.
        fingerprint: The group's fields.
        visits: For each stay, the number of the visit of each condition a person brings
            about, by condition.
        measured_in: The run that measured it, where this one took it over; empty: this one.
        apart: Whether a pass lies between two reference passes that disagree.
        others: The same cell in the other runs that stand on the side with it.
    """

    run: str
    rig: str
    plan: Plan
    cell: Cell
    group: int
    current: bool
    state: CellState
    kept: tuple[KeptPass, ...]
    procedure: Mapping[str, object]
    fingerprint: Mapping[str, str]
    visits: Mapping[int, Mapping[str, int]]
    measured_in: str = ""
    apart: bool = False
    others: tuple[SideCell, ...] = ()

    @property
    def members(self) -> tuple[SideCell, ...]:
        """Return the cell in each of its runs: itself, then the others."""
        return (self, *self.others)

    @property
    def same_passes(self) -> tuple[str, str, str, int]:
        """Return what two sides have in common that are the same passes."""
        return self.rig, self.cell.key, self.ran_in, self.group

    @property
    def ran_in(self) -> str:
        """Return the run that measured it, which is another where this one took it over."""
        return self.measured_in or self.run

    @property
    def label(self) -> str:
        """Return the cell as a person reads it, with where it was measured."""
        group = f", group {self.group}" if self.group > 1 or not self.current else ""
        runs = ", ".join(each.run for each in self.members)
        noun = "runs" if self.others else "run"
        return f"{self.cell.label} ({noun} {runs} on {self.rig}{group})"

    def value(self, key: str) -> str | None:
        """Return what the cell has for *key* of a selection; None: it has no such key."""
        own = {
            "rig": self.rig,
            "run": self.run,
            "title": self.cell.title,
            "scene": self.cell.scene,
            "setting": self.cell.setting,
            "group": str(self.group),
        }
        return own[key] if key in own else dict(self.cell.levels).get(key)

    def operator_conditions(self) -> tuple[str, ...]:
        """Return the conditions of its plan that a person brings about."""
        return tuple(each.name for each in self.plan.conditions if each.by is By.OPERATOR)


def side_cells(
    entries: Iterable[Entry], *, plan: Plan, earlier: EarlierRun | None = None
) -> tuple[SideCell, ...]:
    """Return the cells of one run, one for each group that has passes, in plan order.

    Args:
        entries: Every entry of the run, in order.
        plan: Its frozen plan.
        earlier: Gives the runs whose cells were taken; without it such cells have no passes.

    Raises:
        ValueError: the entries do not begin a run.
    """
    entries = [*entries]
    run = gather(entry.record for entry in entries)
    if run.started is None:
        raise ValueError("these entries are not of one whole run: nothing says that it began")
    track = _Track(plan)
    for entry in entries:
        track.see(entry.record, at=entry.at)
    found: list[SideCell] = []
    apart = {place for each in references_apart(run, plan=plan) for place in each.places}
    for cell in cells(plan):
        of_cell = run.cells.get(cell.key, CellPasses())
        if of_cell.reused is not None and earlier is not None:
            taken = _taken(of_cell.reused, earlier)
            if taken is not None:
                measured_in = taken.measured_in or taken.run
                found.append(replace(taken, run=run.started.run, measured_in=measured_in))
                continue
        closed = of_cell.closed
        standing = closed.group if closed is not None else run.group
        passes = [each for _, each in sorted(of_cell.passes.items()) if not each.reference]
        for group in sorted({standing, *(each.group for each in passes)}):
            state = closed.state if closed is not None and group == standing else CellState.OPEN
            found.append(
                SideCell(
                    run=run.started.run,
                    rig=run.started.rig,
                    plan=plan,
                    cell=cell,
                    group=group,
                    current=group == standing,
                    state=state,
                    kept=track.kept(
                        cell.key,
                        [each for each in passes if each.group == group],
                        sized=of_cell.sized,
                    ),
                    procedure=procedure(plan, cell, definitions=""),
                    fingerprint=track.fields.get(group, {}),
                    visits=track.visits,
                    apart=(cell.key, group) in apart,
                )
            )
    return tuple(found)


def _taken(reused: r.CellReused, earlier: EarlierRun) -> SideCell | None:
    """Return the cell of the earlier run that was taken instead of measuring again."""
    entries, plan = earlier(reused.run)
    for each in side_cells(entries, plan=plan):
        if each.cell.key == reused.cell and each.group == reused.run_group:
            return each
    return None


@dataclass(slots=True)
class _Track:
    """What else the records tell: stays, visits, rounds, fingerprints, readings."""

    plan: Plan
    stay: int = 0
    visits: dict[int, dict[str, int]] = field(default_factory=dict)
    fields: dict[int, dict[str, str]] = field(default_factory=dict)
    _nights: RunNights = field(default_factory=RunNights)
    _places: dict[tuple[str, int], tuple[int, int, int]] = field(default_factory=dict)
    _readings: dict[tuple[str, int], tuple[ReadingSummary, ...]] = field(default_factory=dict)
    _count: dict[str, int] = field(default_factory=dict)
    _steps: dict[int, r.StepAsked] = field(default_factory=dict)

    def see(self, record: r.Record, *, at: datetime) -> None:
        """Take in one record; most tell nothing that is wanted here."""
        if isinstance(record, r.PassStarted):
            night = self._nights.see(at)
            self._places[record.cell, record.attempt] = (self.stay, record.round, night)
            self.fields.setdefault(record.group, {}).update(record.new_fields)
            # A step may be done within a stay: what counts is the visit of the pass.
            self.visits.setdefault(self.stay, dict(self._count))
        elif isinstance(record, r.PassEnded):
            self._nights.see(at)
            self._readings[record.cell, record.attempt] = record.readings
        elif isinstance(record, r.GroupOpened):
            self.fields.setdefault(record.group, {}).update(record.fields)
        elif isinstance(record, r.BlockOpened):
            self.stay += 1
        elif isinstance(record, r.StepAsked):
            self._steps[record.step] = record
        elif isinstance(record, r.StepConfirmed):
            asked = self._steps.get(record.step)
            touched = asked is None or asked.touches(record)
            for condition, _ in asked.levels if asked is not None and touched else ():
                self._count[condition] = self._count.get(condition, 0) + 1
            if touched and self.stay in self.visits:
                self.stay += 1  # the hardware was touched again: another stay

    def kept(
        self, cell: str, passes: Sequence[Pass], *, sized: r.CellSized | None
    ) -> tuple[KeptPass, ...]:
        """Return the kept passes among *passes* of one cell."""
        pilot = sized.pilot if sized is not None else ()
        return tuple(
            KeptPass(
                attempt=each.attempt,
                stay=self._places.get((cell, each.attempt), _NOWHERE)[0],
                round=self._places.get((cell, each.attempt), _NOWHERE)[1],
                night=self._places.get((cell, each.attempt), _NOWHERE)[2],
                figures={figure.name: figure for figure in each.figures},
                readings={
                    reading.name: reading
                    for reading in self._readings.get((cell, each.attempt), ())
                },
                marks=tuple(each.marks),
                fixed=sized.figure if sized is not None and each.attempt in pilot else "",
            )
            for each in passes
            if each.verdict is Verdict.KEPT and not each.warm_up
        )
