"""Earlier accepted cells that a plan may take instead of measuring again, and stale ones.

Pure. A cell is offered where its key and its procedure are the plan's, it was accepted
without marks with as many passes as the plan keeps, and it is no older than the plan allows.
Whether the rig is still what it was is not told here: the runner compares the fingerprint when
it comes up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from harness.plan.canonical import procedure_differs
from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.plan.order import blocks, reference_cells
from harness.rig.fingerprint_fields import fields_meant
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.procedures import measured_alike, procedures, thawed
from harness.summary.reference_history import reference_figure, reference_values
from harness.summary.usual import individuals

#: An earlier run: its name, its plan's name, its frozen plan, and what gives its entries.
EarlierRun = tuple[str, str, str, Callable[[], Sequence[Entry]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stale:
    """A cell that the extended plan has too, and measured in another way."""

    cell: Cell
    differs: tuple[str, ...]  #: names of what differs in the procedure


@dataclass(frozen=True, slots=True, kw_only=True)
class Reusable:
    """What earlier runs have of a plan's cells."""

    offers: tuple[r.Offer, ...] = ()
    stale: tuple[Stale, ...] = ()


@dataclass(slots=True)
class _Seen:
    """One cell while a run's records are read."""

    closed: r.CellClosed | None = None
    closed_at: datetime | None = None
    marked: bool = False


@dataclass(slots=True)
class _Run:
    fields: dict[int, dict[str, str]] = field(default_factory=dict)
    cells: dict[str, _Seen] = field(default_factory=dict)


def reusable(plan: Plan, runs: Iterable[EarlierRun], *, now: datetime) -> Reusable:
    """Return what *runs*, newest first, have of the cells of *plan*.

    Args:
        plan: The plan that is about to be carried out.
        runs: Runs on the same rig.
        now: The instant, aware.
    """
    if plan.reuse is None and not plan.extends:
        return Reusable()
    grid = {cell.key: cell for cell in cells(plan)}
    wanted = procedures(plan, grid.values())
    # The first reference pass of a run is that of its first block.
    reference = reference_cells(plan, blocks(plan))[0]
    figure = reference_figure(plan)
    offers: dict[str, r.Offer] = {}
    stale: dict[str, Stale] = {}
    history: list[tuple[datetime, float]] = []
    for name, plan_name, frozen, entries in runs:
        extended = bool(plan.extends) and plan_name == plan.extends
        if not extended and plan.reuse is None:
            continue
        other = thawed(frozen)
        if other is None:
            continue
        theirs = {cell.key: cell for cell in cells(other) if cell.key in wanted}
        same = measured_alike(other, wanted)
        if extended:
            for key in theirs.keys() - same - stale.keys() - offers.keys():
                differs = procedure_differs(other, plan, theirs[key])
                stale[key] = Stale(cell=theirs[key], differs=differs)
        if not same:
            continue
        kept = entries()
        if reference in same:
            found = reference_values(kept, {reference}, figure)
            history += ((at, value) for at, value, _ in found)
        _offer(plan, name, _read(kept, same), grid, offers, now)
    usual = _usual(history, figure)
    return Reusable(
        offers=tuple(
            r.Offer(
                cell=each.cell,
                run=each.run,
                group=each.group,
                kept=each.kept,
                measured_at=each.measured_at,
                fields=each.fields,
                missing=each.missing,
                usual=usual,
            )
            for key in grid
            if (each := offers.get(key)) is not None
        ),
        stale=tuple(stale[key] for key in grid if key in stale and key not in offers),
    )


def _read(entries: Iterable[Entry], same: set[str]) -> _Run:
    run = _Run()
    for entry in entries:
        record = entry.record
        match record:
            case r.GroupOpened():
                run.fields[record.group] = dict(record.fields)
            case r.PassStarted():
                run.fields.setdefault(record.group, {}).update(record.new_fields)
            case r.PassJudged():
                if record.cell in same and record.marks:
                    run.cells.setdefault(record.cell, _Seen()).marked = True
            case r.PassDiscarded(discarded=False):  # a rule only marked it
                if record.cell in same:
                    run.cells.setdefault(record.cell, _Seen()).marked = True
            case r.CellClosed():
                if record.cell in same:
                    seen = run.cells.setdefault(record.cell, _Seen())
                    seen.closed, seen.closed_at = record, entry.at
            case r.CellReopened():
                run.cells.pop(record.cell, None)
            case _:
                pass  # says nothing of what could be taken
    return run


def _offer(
    plan: Plan,
    name: str,
    run: _Run,
    grid: Mapping[str, Cell],
    offers: dict[str, r.Offer],
    now: datetime,
) -> None:
    wanted = plan.reuse.same if plan.reuse is not None else plan.compare.same
    oldest = now - timedelta(seconds=plan.reuse.within_s) if plan.reuse is not None else None
    for key, seen in run.cells.items():
        closed, at = seen.closed, seen.closed_at
        if key in offers or closed is None or at is None or seen.marked:
            continue
        if closed.state is not r.CellState.ACCEPTED or (oldest is not None and at < oldest):
            continue
        if len(closed.kept) < plan.passes.keep:
            continue  # the plan wants more now: it is measured again
        there = run.fields.get(closed.group, {})
        names = [m for each in wanted for m in fields_meant(each, titles=[grid[key].title])]
        offers[key] = r.Offer(
            cell=key,
            run=name,
            group=closed.group,
            kept=closed.kept,
            measured_at=at.isoformat(),
            fields=tuple((each, there[each]) for each in names if each in there),
            missing=tuple(each for each in names if each not in there),
        )


def _usual(history: list[tuple[datetime, float]], figure: str) -> r.Usual | None:
    limits = individuals([value for _, value in sorted(history)])
    if limits is None:
        return None
    return r.Usual(figure=figure, low=limits.low, high=limits.high, values=limits.values)
