"""Whether a rig still measures what it measured: charts of its reference cell over the nights.

The reference passes of every run on a rig stand in one chart, in the order measured. --cell, or
--where with a title, scene, setting or level, takes the counted passes of those cells instead.
The first twenty values set the limits; --since begins anew, as after a change that was meant.

  harness drift --rig north-2
  harness drift --per night --where title='Lantern Quay' setting=fhd
"""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from typing import TextIO

from harness.errors import AskedError, Exit, Problem, StoreError
from harness.plan.canonical import thaw
from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.run.ports import Entry
from harness.run.records import RunStarted
from harness.settings import store_folder
from harness.store.sqlite import Store, open_store
from harness.summary.apart import Apart, references_apart
from harness.summary.drift import drift
from harness.summary.ewma import REACH, WEIGHT
from harness.summary.passes import gather
from harness.summary.reference_history import reference_figure
from harness.summary.selections import Selection, bad_selection, is_wanted, selection, unknown
from harness.summary.series import Per, Series, Wanted, averaged, cell_figure, series
from harness.summary.usual import LEAST, VALUES
from harness.views.drift import as_text
from harness.views.drift_json import as_json

#: Values that are drawn of each series, unless all are asked for.
_DRAWN = 40

_KEYS = ("rig", "run", "title", "scene", "setting")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--rig", metavar="RIG", help="only this rig (default: every rig)")
    parser.add_argument("--run", metavar="RUN", help="only the charts that this run is part of")
    parser.add_argument("--cell", metavar="CELL", help="the counted passes of this cell, by key")
    parser.add_argument(
        "--where", metavar="KEY=VALUE", action="extend", nargs="+", default=[],
        help="the counted passes of these cells: rig, title, scene, setting or a condition",
    )  # fmt: skip
    parser.add_argument("--figure", metavar="NAME", help="default: the average frame rate")
    parser.add_argument(
        "--per", choices=[each.value for each in Per], default=Per.PASS.value,
        help="what one value is of: a pass, or the mean of a night or a week (default: pass)",
    )  # fmt: skip
    parser.add_argument("--since", metavar="DATE", help="nothing earlier, such as 2026-11-01 (UTC)")
    parser.add_argument(
        "--weight", metavar="SHARE", type=float, default=WEIGHT,
        help=f"of the newest value in the moving average (default: {WEIGHT:g})",
    )  # fmt: skip
    parser.add_argument(
        "--reach", metavar="NUMBER", type=float, default=REACH,
        help=f"of all limits, in standard deviations (default: {REACH:g})",
    )  # fmt: skip
    parser.add_argument(
        "--first", metavar="NUMBER", type=int, default=VALUES,
        help=f"how many values set the limits, the first ones (default: {VALUES})",
    )  # fmt: skip
    parser.add_argument(
        "--handbook", action="store_true", help="take centre and spread as known: narrower limits"
    )
    parser.add_argument("--with-marked", action="store_true", help="take marked passes in")
    parser.add_argument("--all", action="store_true", help=f"draw more than {_DRAWN} values")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


@dataclass(slots=True)
class _Read:
    """What the store holds of the runs that are looked at."""

    runs: list[tuple[Plan, Sequence[Entry]]] = field(default_factory=list)
    cells: list[tuple[str, str, Cell]] = field(default_factory=list)  #: rig, run, cell
    apart: dict[str, tuple[Apart, ...]] = field(default_factory=dict)
    not_read: list[str] = field(default_factory=list)


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show the charts."""
    where = selection(args.where, option="where")
    if args.rig is not None and where.setdefault("rig", (args.rig,)) != (args.rig,):
        named = ", ".join(where["rig"])
        raise bad_selection(f"--rig {args.rig} and --where rig={named}", "leave one out")
    if not (0.0 < args.weight <= 1.0 and 0.0 < args.reach <= 10.0 and args.first >= LEAST):
        raise AskedError(
            Problem(
                code="bad-limits",
                what=f"no limits have the weight {args.weight:g}, reach {args.reach:g} and come "
                f"from {args.first} values",
                do="write a weight above 0 and at most 1, a reach above 0 and at most 10, and "
                f"{LEAST} values or more",
            )
        )
    of_cells = args.cell is not None or bool(where.keys() - {"rig", "run"})
    with open_store(store_folder(args.store), write=False) as store, store.reading():
        if args.run is not None:
            store.run(args.run)
        read = _read(store, rigs_wanted=where.get("rig"), reference=not of_cells)
    _refuse_unknown(read, where, args.cell)
    wanted = Wanted(
        reference=not of_cells,
        figure=lambda plan, cell: (
            args.figure or (cell_figure(plan, cell) if of_cells else reference_figure(plan))
        ),
        cell=lambda rig, name, cell: (
            args.cell in (None, cell.key) and is_wanted(partial(_value, rig, name, cell), where)
        ),
        with_marked=args.with_marked,
        since=_since(args.since),
    )
    found = [
        each
        for each in series(read.runs, wanted=wanted)
        if args.run is None or any(value.run == args.run for value in each.values)
    ]
    _refuse_nothing(found, args.figure, reference=not of_cells)
    charts = [
        drift(
            averaged(each, per=Per(args.per)),
            weight=args.weight,
            reach=args.reach,
            first=args.first,
            handbook=args.handbook,
        )
        for each in found
    ]
    shown = {value.run for each in found for value in each.values}
    apart = {name: own for name, own in read.apart.items() if name in shown and own}
    if args.json:
        text = as_json(
            charts, apart=apart, per=Per(args.per), weight=args.weight, reach=args.reach,
            handbook=args.handbook, not_read=read.not_read,
        )  # fmt: skip
        print(json.dumps(text, ensure_ascii=False, allow_nan=False), file=out)
        return Exit.WELL
    width = shutil.get_terminal_size(fallback=(100, 24)).columns
    last = None if args.all else _DRAWN
    for line in as_text(charts, apart=apart, last=last, width=width):
        print(line, file=out)
    for name in read.not_read:
        print(f"left out: run {name}: kept by another version of the harness", file=out)
    return Exit.WELL


def _read(store: Store, *, rigs_wanted: Sequence[str] | None, reference: bool) -> _Read:
    found = _Read()
    lines = store.runs()
    if not lines:
        raise AskedError(
            Problem(code="no-run", what="the store has no run yet", do="harness run PLAN")
        )
    rigs = sorted({line.rig for line in lines})
    for rig in rigs_wanted or ():
        if rig not in rigs:
            raise bad_selection(f"no run is of the rig {rig}", f"write one of {', '.join(rigs)}")
    for line in lines:
        if rigs_wanted is not None and line.rig not in rigs_wanted:
            continue
        entries = store.entries(line.run)
        if not entries or not isinstance(started := entries[0].record, RunStarted):
            continue
        try:
            plan = thaw(started.plan)
        except StoreError:
            found.not_read.append(line.run)
            continue
        found.cells += [(line.rig, line.run, cell) for cell in cells(plan)]
        if reference and plan.reference is None:
            continue
        found.runs.append((plan, entries))
        if reference:
            passes = gather(entry.record for entry in entries)
            found.apart[line.run] = references_apart(passes, plan=plan)
    return found


def _value(rig: str, name: str, cell: Cell, key: str) -> str | None:
    own = {
        "rig": rig,
        "run": name,
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
    }
    return own[key] if key in own else dict(cell.levels).get(key)


def _since(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise AskedError(
            Problem(
                code="bad-date",
                what=f"--since {text!r} is no date",
                do="write one such as 2026-11-01, or 2026-11-01T22:00+01:00",
            )
        ) from None
    return at if at.tzinfo is not None else at.replace(tzinfo=UTC)


def _refuse_unknown(read: _Read, where: Selection, key: str | None) -> None:
    """Refuse a key, a value or a cell that no run has: a slip selects nothing."""
    conditions = sorted({one for _, _, cell in read.cells for one, _ in cell.levels})
    values = [partial(_value, *own) for own in read.cells]
    problems = unknown(values, where, option="where", keys=(*_KEYS, *conditions))
    if problems:
        raise AskedError(problems)
    if key is not None and all(cell.key != key for _, _, cell in read.cells):
        raise AskedError(
            Problem(code="no-such-cell", what=f"no run has a cell {key}", do="harness results")
        )


def _refuse_nothing(found: Sequence[Series], figure: str | None, *, reference: bool) -> None:
    if found:
        return
    of = f"with the figure {figure}" if figure else "with a figure"
    if reference:
        what = f"no kept reference pass {of}"
        do = "name a reference cell in the plan, or the cells to look at: --where title=…"
    else:
        what, do = f"no kept pass {of} among these cells", "name others, or another --figure"
    raise AskedError(Problem(code="no-series", what=what, do=do))
