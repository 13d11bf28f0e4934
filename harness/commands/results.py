"""A row per cell: average, 1 % low, spread, passes by verdict, flags.

By default the latest run is shown; --run names another, --where keeps only some cells.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.settings import store_folder
from harness.store.sqlite import open_store
from harness.summary.cells import CellSummary, summarise
from harness.summary.signs import signs
from harness.views.results import as_json, as_table
from harness.views.signs import signs_json, signs_lines
from harness.wiring import earlier_run

_KEYS = ("rig", "run", "title", "scene", "setting", "state")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--run", metavar="RUN", help="the run (default: the latest)")
    parser.add_argument(
        "--where",
        metavar="KEY=VALUE",
        action="append",
        default=[],
        help=f"only cells with this {', '.join(_KEYS)} or level of a condition; may be repeated",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show the cells of one run."""
    wanted = [pair(text) for text in args.where]
    with open_store(store_folder(args.store), write=False) as store:
        lines = store.runs(limit=1)
        if args.run is None and not lines:
            raise AskedError(
                Problem(code="no-run", what="the store has no run yet", do="harness run PLAN")
            )
        name = args.run or lines[0].run
        store.run(name)
        earlier = earlier_run(store)
        entries, plan = earlier(name)
        summaries = summarise(entries, plan=plan, earlier=earlier)
    shown = signs(entries, plan=plan)
    chosen = chosen_by(wanted, summaries)
    if args.json:
        found = {**as_json(chosen), **signs_json(shown)}
        print(json.dumps(found, ensure_ascii=False, allow_nan=False), file=out)
    else:
        for line in (*as_table(chosen, low=plan.compare.low), *signs_lines(shown)):
            print(line, file=out)
    return Exit.WELL


def chosen_by(
    wanted: Sequence[tuple[str, str]], summaries: Sequence[CellSummary]
) -> list[CellSummary]:
    """Return the cells that have every *wanted* (key, value).

    Raises:
        AskedError: no cell has one of them.
    """
    _refuse_unknown(wanted, summaries)
    return [each for each in summaries if all(_has(each, key, value) for key, value in wanted)]


def pair(text: str) -> tuple[str, str]:
    """Return key and value of ``KEY=VALUE``; AskedError where it is not that."""
    key, sign, value = text.partition("=")
    if not sign or not key:
        raise AskedError(
            Problem(
                code="bad-selection",
                what=f"{text!r} selects nothing",
                do="write --where KEY=VALUE, such as --where setting=fhd",
            )
        )
    return key, value


def _value(summary: CellSummary, key: str) -> str | None:
    cell = summary.cell
    own = {
        "rig": summary.rig,
        "run": summary.run,
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "state": summary.state.value,
    }
    return own.get(key) or dict(cell.levels).get(key)


def _has(summary: CellSummary, key: str, value: str) -> bool:
    return _value(summary, key) == value


def _refuse_unknown(wanted: Sequence[tuple[str, str]], summaries: Sequence[CellSummary]) -> None:
    """Refuse a key that no cell has, and a value that none has: a slip selects nothing."""
    for key, value in wanted:
        there = sorted({found for each in summaries if (found := _value(each, key)) is not None})
        if value not in there:
            conditions = {name for each in summaries for name, _ in each.cell.levels}
            known = f"its values are {', '.join(there)}" if there else ""
            raise AskedError(
                Problem(
                    code="bad-selection",
                    what=f"no cell has {key}={value}",
                    do=known or f"select by {', '.join((*_KEYS, *sorted(conditions)))}",
                )
            )
