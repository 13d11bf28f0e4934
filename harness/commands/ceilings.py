"""Frame rates that one level never exceeds, whatever the setting, while another goes on.

For each title, the levels of one condition are held against each other over the settings. With
bytes_per_frame in the plan (or fitted over levels whose links differ) a ceiling is also a rate
of transfer, shown beside what the link carries as published.

  harness ceilings --condition slot
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.plan.document import Better
from harness.settings import store_folder
from harness.store.sqlite import open_store
from harness.summary.ceilings import TitleCeilings, ceilings
from harness.summary.directions import better_of
from harness.summary.rows import NoRow, counted, figure_of
from harness.summary.selections import band_of, is_wanted, selection
from harness.summary.sides import SideCell
from harness.views.ceilings import as_json, as_text


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--run", metavar="RUN", help="the run (default: the latest)")
    parser.add_argument("--condition", metavar="NAME", help="needed where a plan has several")
    parser.add_argument(
        "--where", metavar="KEY=VALUE", action="extend", nargs="+", default=[],
        help="only these cells: title, scene, setting or another condition",
    )  # fmt: skip
    parser.add_argument("--figure", metavar="NAME", default="average_fps", help="a rate")
    parser.add_argument("--band", metavar="PERCENT", help="such as '3 %%'; default: the plan's")
    parser.add_argument("--with-marked", action="store_true", help="take marked passes in")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show the ceilings of one run."""
    from harness.commands.compare import cells_of
    from harness.summary.matching import refuse_unknown

    where = selection(args.where, option="where")
    with open_store(store_folder(args.store), write=False) as store, store.reading():
        latest = [line.run for line in store.runs(limit=1)]
        cells = cells_of(store, [args.run] if args.run else latest)
    refuse_unknown(cells, where=where)
    condition = _condition(cells, args.condition)
    _refuse_no_rate(args.figure, cells)
    band = band_of(args.band) or cells[0].plan.compare.band
    wanted = [each for each in cells if each.current and is_wanted(each.value, where)]
    found = [
        one
        for own in _alike(wanted, condition)
        if (
            one := ceilings(
                own,
                condition=condition,
                figure=args.figure,
                band=band,
                with_marked=args.with_marked,
            )
        )
        is not None
    ]
    if args.json:
        shown = as_json(found, figure=args.figure, band=band, condition=condition)
        print(json.dumps(shown, ensure_ascii=False, allow_nan=False), file=out)
        return Exit.WELL
    _refuse_nothing(found, args.figure, wanted, with_marked=args.with_marked)
    for line in as_text(found, figure=args.figure, band=band):
        print(line, file=out)
    return Exit.WELL


def _condition(cells: Sequence[SideCell], asked: str | None) -> str:
    names = [each.name for each in cells[0].plan.conditions if len(each.levels) > 1]
    if asked is None and len(names) == 1:
        return names[0]
    if asked in names:
        return asked
    raise AskedError(
        Problem(
            code="no-condition",
            what=f"no condition {asked} has two levels" if asked else "which condition is meant?",
            do=f"write --condition with one of {', '.join(names)}"
            if names
            else "ceilings need a plan with a condition of two levels or more",
        )
    )


def _refuse_no_rate(figure: str, cells: Sequence[SideCell]) -> None:
    """Refuse a figure that is no rate of any title: the most that it reaches is no ceiling."""
    ways = {better_of(figure, title) for cell in cells for title in cell.plan.titles}
    if Better.HIGHER not in ways:
        why = "lower is better" if Better.LOWER in ways else "nobody says which way is better"
        raise AskedError(
            Problem(
                code="no-rate",
                what=f"{figure} is no rate: {why}",
                do="name a figure that is better higher, such as average_fps",
            )
        )


def _alike(cells: Sequence[SideCell], condition: str) -> list[list[SideCell]]:
    """Return *cells* by title, scene and the levels of every other condition."""
    found: dict[tuple[object, ...], list[SideCell]] = {}
    for each in cells:
        others = tuple(pair for pair in each.cell.levels if pair[0] != condition)
        found.setdefault((each.cell.title, each.cell.scene, others), []).append(each)
    return list(found.values())


def _refuse_nothing(
    found: Sequence[TitleCeilings],
    figure: str,
    cells: Sequence[SideCell],
    *,
    with_marked: bool,
) -> None:
    if not found:
        reasons: dict[str, int] = {}
        for cell in cells:
            try:
                passes = counted(cell, with_marked=with_marked, side="the cell")
                figure_of(passes, figure, side="the cell")
            except NoRow as none:
                reasons[str(none)] = reasons.get(str(none), 0) + 1
        raise AskedError(
            Problem(
                code="no-ceilings",
                what=f"no title has {figure} at two settings of two levels or more",
                where=tuple(f"{n} of {len(cells)} cells: {why}" for why, n in reasons.items()),
                do="measure them, or name another --figure, --run or --where",
            )
        )
