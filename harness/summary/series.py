"""Runs -> one figure of one cell on one rig over passes, nights and weeks, in order of time.

Pure. Values stand in one series only where cell, procedure, definition and unit are the same;
what the rig was at each value is kept with it. The runner's clock tells the order.

A *night* is a stretch of passes without a pause of more than six hours, whatever the calendar
says; a *week* is that of ISO 8601, in UTC. Passes under two fingerprints are never averaged: a
night in which the rig changed gives two values.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import assert_never

from harness.plan.canonical import procedure_hash
from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.plan.main_figure import main_figure
from harness.plan.rule_agreement import DEFAULT_FIGURE
from harness.rig.fingerprint_fields import TITLE_BUILD, TITLE_FILES, fields_meant, title_build
from harness.rules.believable import believed
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.run_nights import NIGHT_APART, RunNights


class Per(enum.Enum):
    """What one value of a series is of."""

    PASS = "pass"
    NIGHT = "night"
    WEEK = "week"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One value, and what the rig was.

    Args:
        at: When its pass began; of several, the first.
        run: The run.
        attempt: The pass's number within its cell; of several, the first.
        value: In the figure's unit.
        passes: How many passes are in it.
        night: When the run's night that it was measured in began and ended, other cells' passes
            among them; None: it is not known, and a night by itself.
        fields: The fingerprint, less what conditions are meant to change and what is of
            other titles.
    """

    at: datetime
    run: str
    attempt: int
    value: float
    passes: int = 1
    night: tuple[datetime, datetime] | None = None
    fields: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One figure of one cell on one rig, in the order measured.

    Args:
        rig: The rig.
        cell: The cell.
        figure: The figure's name, ``unit`` and ``definition``.
        unit: See above.
        definition: See above.
        procedure: Hash of all that can move the cell's number.
        reference: Whether the values are of reference passes.
        per: What one value is of.
        values: At least one.
        left_out: Kept passes without a value, or with a mark that was not asked for.
    """

    rig: str
    cell: Cell
    figure: str
    unit: str
    definition: str
    procedure: str
    reference: bool
    per: Per
    values: tuple[Measured, ...]
    left_out: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which passes make a series.

    Args:
        reference: Reference passes; else the counted passes of cells.
        figure: The figure's name, of a plan and a cell.
        cell: Whether a cell of a rig and run is wanted: rig, run, cell.
        with_marked: Take marked passes in.
        since: Nothing that began before.
    """

    reference: bool
    figure: Callable[[Plan, Cell], str]
    cell: Callable[[str, str, Cell], bool] = lambda rig, run, cell: True
    with_marked: bool = False
    since: datetime | None = None


@dataclass(slots=True, kw_only=True)
class _Pass:
    """A pass while its records are read."""

    at: datetime
    group: int
    marks: tuple[str, ...]
    night: int
    figures: tuple[Figure, ...] = ()


_Key = tuple[str, str, str, str, str, str]


def series(runs: Iterable[tuple[Plan, Iterable[Entry]]], *, wanted: Wanted) -> tuple[Series, ...]:
    """Return the series of *runs*, given in any order; the longest first.

    Args:
        runs: The frozen plan and every entry of each.
        wanted: Which passes.
    """
    found: dict[_Key, list[Measured]] = {}
    cell_of: dict[_Key, Cell] = {}
    missing: dict[tuple[str, str, str], int] = {}
    for plan, entries in runs:
        for rig, cell, procedure, figure, measured in _of_run(plan, entries, wanted, missing):
            key = (rig, cell.key, procedure, figure.name, figure.unit, figure.definition)
            found.setdefault(key, []).append(measured)
            cell_of[key] = cell
    made = [
        Series(
            rig=key[0],
            cell=cell_of[key],
            procedure=key[2],
            figure=key[3],
            unit=key[4],
            definition=key[5],
            reference=wanted.reference,
            per=Per.PASS,
            values=tuple(sorted(values, key=lambda each: each.at)),
            left_out=missing.get((key[0], key[1], key[2]), 0),
        )
        for key, values in found.items()
    ]
    return tuple(sorted(made, key=lambda each: (-len(each.values), each.rig, each.cell.label)))


def cell_figure(plan: Plan, cell: Cell) -> str:
    """Return the figure a cell is known by: the frame rate, or its title's first own."""
    for title in plan.titles:
        if (title.title, title.scene) == (cell.title, cell.scene):
            return main_figure(title)
    return DEFAULT_FIGURE


def averaged(each: Series, *, per: Per) -> Series:
    """Return *each* with one value, the mean, for every night or week and fingerprint."""
    if per is Per.PASS:
        return each
    places = _places(each.values, per)
    keyed = zip(places, each.values, strict=True)
    values = [
        _mean([value for _, value in same])
        for _, same in groupby(keyed, key=lambda pair: (pair[0], sorted(pair[1].fields.items())))
    ]
    return replace(each, per=per, values=tuple(values))


def nights(values: Sequence[Measured]) -> list[tuple[Measured, ...]]:
    """Return *values*, in order of time, night by night."""
    keyed = zip(_places(values, Per.NIGHT), values, strict=True)
    return [
        tuple(value for _, value in same) for _, same in groupby(keyed, key=lambda pair: pair[0])
    ]


def _places(values: Sequence[Measured], per: Per) -> list[Hashable]:
    match per:
        case Per.PASS:
            return list(range(len(values)))
        case Per.WEEK:
            return [value.at.isocalendar()[:2] for value in values]
        case Per.NIGHT:
            place, found, before = 0, [], values[0].at
            for value in values:
                began, ended = value.night or (value.at, value.at)
                place += began - before > NIGHT_APART
                before = max(before, ended)
                found.append(place)
            return list(found)
        case _:
            assert_never(per)


def _mean(values: Sequence[Measured]) -> Measured:
    mean = math.fsum(each.value for each in values) / len(values)
    return replace(values[0], value=mean, passes=len(values))


def _of_run(
    plan: Plan,
    entries: Iterable[Entry],
    wanted: Wanted,
    missing: dict[tuple[str, str, str], int],
) -> Iterator[tuple[str, Cell, str, Figure, Measured]]:
    """Yield rig, cell, procedure, figure and value of the wanted kept passes of one run."""
    run = rig = ""
    fields: dict[int, dict[str, str]] = {}
    passes: dict[tuple[str, int], _Pass] = {}
    judged: dict[tuple[str, int], None] = {}
    grid: dict[str, Cell] = {}
    of_run = RunNights()
    for entry in entries:
        match entry.record:
            case r.RunStarted() as started:
                run, rig = started.run, started.rig
                grid = {each.key: each for each in cells(plan) if wanted.cell(rig, run, each)}
            case r.GroupOpened() as opened:
                fields[opened.group] = dict(opened.fields)
            case r.PassStarted() as started:
                night = of_run.see(entry.at)
                fields.setdefault(started.group, {}).update(started.new_fields)
                at_hand = started.cell in grid and not started.warm_up
                early = wanted.since is not None and entry.at < wanted.since
                if at_hand and not early and started.reference is wanted.reference:
                    passes[started.cell, started.attempt] = _Pass(
                        at=entry.at, group=started.group, marks=started.marks, night=night
                    )
            case r.PassEnded() as ended:
                of_run.see(entry.at)
                if one := passes.get((ended.cell, ended.attempt)):
                    one.figures = believed(ended.figures)
            case r.PassJudged(verdict=Verdict.KEPT) as over:
                if one := passes.get((over.cell, over.attempt)):
                    one.marks = (*one.marks, *over.marks)
                    judged[over.cell, over.attempt] = None
            case r.PassDiscarded(discarded=True) as gone:
                judged.pop((gone.cell, gone.attempt), None)
            case r.PassDiscarded() as marked if one := passes.get((marked.cell, marked.attempt)):
                one.marks = (*one.marks, marked.rule)
            case r.CellReopened() as again if not wanted.reference:
                for attempt in again.superseded:
                    judged.pop((again.cell, attempt), None)
            case _:
                pass  # tells nothing of a value
    procedures: dict[str, str] = {}
    for key, attempt in judged:
        cell, one = grid[key], passes[key, attempt]
        if key not in procedures:
            procedures[key] = procedure_hash(plan, cell, definitions="")
        name = wanted.figure(plan, cell)
        figure = next((each for each in one.figures if each.name == name), None)
        if figure is None or figure.value is None or (one.marks and not wanted.with_marked):
            place = (rig, key, procedures[key])
            missing[place] = missing.get(place, 0) + 1
            continue
        measured = Measured(
            at=one.at,
            run=run,
            attempt=attempt,
            value=figure.value,
            night=of_run.spans[one.night - 1],
            fields=_own(fields.get(one.group, {}), plan, cell),
        )
        yield rig, cell, procedures[key], figure, measured


def _own(fields: Mapping[str, str], plan: Plan, cell: Cell) -> dict[str, str]:
    """Return the fields that say what the rig was for one cell."""
    meant = {
        name
        for condition in plan.conditions
        for field in condition.changes
        for name in fields_meant(field, titles=[cell.title])
    }
    return {
        name: text
        for name, text in fields.items()
        if name not in meant
        and (not name.startswith(f"{TITLE_BUILD} ") or name == title_build(cell.title))
        and (
            not name.startswith(f"{TITLE_FILES} ")
            or name.startswith(f"{TITLE_FILES} {cell.title}, ")
        )
    }
