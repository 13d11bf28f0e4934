"""The same cells on several rigs: repeatability, reproducibility, which rig stands out.

The rigs' runs may stand in one store, or in several: --store north south. From six rigs on there
are s_r and s_R with Cochran's and Grubbs' tests and Mandel's h and k (ISO 5725-2, ASTM E691);
fewer have their differences. The nights of each rig show what one night cannot tell. What
differs between the rigs is named; what must be the same needs --despite REASON, which is kept
with the result.

  harness precision --where setting=fhd
  harness precision --store north/store south/store --where title='Lantern Quay'
"""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TextIO

from harness import __version__
from harness.commands.despite import (
    add_despite_arguments,
    keep,
    name_of,
    reason_of,
    refuse_unkept,
)
from harness.errors import AskedError, Exit, Problem, StoreError
from harness.plan.canonical import thaw
from harness.plan.cells import Cell
from harness.plan.document import Plan
from harness.run.ports import Entry
from harness.run.records import RunStarted
from harness.settings import store_folder
from harness.store.made_despite import KeptComparison
from harness.store.sqlite import open_store
from harness.summary.comparison_kept import put_together
from harness.summary.despite import joined
from harness.summary.matching import refuse_unknown
from harness.summary.precision import Precision, precision
from harness.summary.selections import Selection, is_wanted, selection
from harness.summary.series import Wanted, cell_figure, series
from harness.summary.sides import side_cells
from harness.views.precision import as_text
from harness.views.precision_json import as_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--store", metavar="FOLDER", action="extend", nargs="+", default=[],
        help="where everything is kept; several are put together",
    )  # fmt: skip
    parser.add_argument(
        "--where", metavar="KEY=VALUE", action="extend", nargs="+", default=[],
        help="only these cells: rig, run, title, scene, setting or a condition",
    )  # fmt: skip
    parser.add_argument("--figure", metavar="NAME", help="default: the average frame rate")
    add_despite_arguments(parser)
    parser.add_argument("--with-marked", action="store_true", help="take marked passes in")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


#: A run as it is kept: the rig, its name, its frozen plan, its entries.
_Run = tuple[str, str, Plan, tuple[Entry, ...]]


@dataclass(slots=True)
class _Read:
    """What the stores hold."""

    runs: list[_Run] = field(default_factory=list)
    not_read: list[str] = field(default_factory=list)
    kept: tuple[KeptComparison, ...] = ()
    has: dict[Path, set[tuple[str, str]]] = field(default_factory=dict)  #: store: (rig, run)


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Put the rigs together."""
    where = selection(args.where, option="where")
    reason = reason_of(args.despite)
    read = _read(args.store)
    cells = [side for _, _, plan, entries in read.runs for side in side_cells(entries, plan=plan)]
    refuse_unknown(cells, where=where)

    def of(rig: str, name: str, cell: Cell) -> bool:
        own = {
            "rig": rig, "run": name, "title": cell.title, "scene": cell.scene,
            "setting": cell.setting, **dict(cell.levels),
        }  # fmt: skip
        return is_wanted(own.get, {key: values for key, values in where.items() if key != "group"})

    wanted = Wanted(
        reference=False,
        figure=lambda plan, cell: args.figure or cell_figure(plan, cell),
        cell=of,
        with_marked=args.with_marked,
    )
    found = precision(
        [side for side in cells if is_wanted(side.value, where)],
        histories=series([(plan, entries) for _, _, plan, entries in read.runs], wanted=wanted),
        figure=args.figure,
        with_marked=args.with_marked,
        despite=reason,
        kept=read.kept,
    )
    if not found.cells:
        _refuse_nothing(found.left_out)
    if found.must_differ:
        found = _kept(found, read, args, where)
    if args.json:
        print(json.dumps(as_json(found), ensure_ascii=False, allow_nan=False), file=out)
        return Exit.WELL
    width = shutil.get_terminal_size(fallback=(100, 24)).columns
    for line in as_text(found, width=width):
        print(line, file=out)
    for name in read.not_read:
        print(f"left out: run {name}: kept by another version of the harness", file=out)
    return Exit.WELL


def _read(folders: Sequence[str]) -> _Read:
    """Return the runs of all stores, the latest first; one that several have, once."""
    found: dict[tuple[str, str], _Run] = {}
    read = _Read()
    kept: list[KeptComparison] = []
    for folder in [store_folder(each) for each in folders] or [store_folder(None)]:
        has = read.has.setdefault(folder, set())
        with open_store(folder, write=False) as store, store.reading():
            kept += store.comparisons().all()
            for line in store.runs():
                entries = store.entries(line.run)
                if not entries or not isinstance(started := entries[0].record, RunStarted):
                    continue
                try:
                    plan = thaw(started.plan)
                except StoreError:
                    read.not_read.append(line.run)
                    continue
                has.add((line.rig, line.run))
                before = found.get((line.rig, line.run))
                # A copy that was made earlier has fewer of the same entries.
                if before is None or len(before[3]) < len(entries):
                    found[line.rig, line.run] = (line.rig, line.run, plan, entries)
    if not found:
        raise AskedError(
            Problem(code="no-run", what="the store has no run yet", do="harness run PLAN")
        )
    read.runs = sorted(found.values(), key=lambda each: each[3][0].at, reverse=True)
    read.kept = joined(kept)
    return read


def _kept(found: Precision, read: _Read, args: argparse.Namespace, where: Selection) -> Precision:
    """Keep what was put together despite differences before it is shown.

    Every store that has a cell of it keeps it, with its own cells.
    """
    if args.as_kept:
        refuse_unkept(found.kept, reason=found.despite, command="precision")
        return found
    name = name_of(args.by)
    now = []
    for folder, runs in read.has.items():
        made = put_together(
            found, where=where, figure=args.figure, with_marked=args.with_marked,
            stores=len(read.has), runs=runs, by=name, harness=__version__,
        )  # fmt: skip
        if made.cells:
            now.append(keep(made, folder=folder))
    return replace(found, kept=joined([*found.kept, *now]))


def _refuse_nothing(left_out: Sequence[tuple[str, str]]) -> None:
    raise AskedError(
        Problem(
            code="no-precision",
            what="no cell was measured on two rigs or in two nights",
            where=tuple(f"{label}: {why}" for label, why in left_out[:8]),
            do="measure it again, on another rig or night, or name other cells: --where KEY=VALUE",
        )
    )
