"""A row per cell: average, 1 % low, spread, passes by verdict, flags.

By default the latest run is shown; --run (or --where run=) names another, and --where rig= asks for
the latest of a rig. --where keeps only some cells.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from functools import partial
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.plan.document import Plan
from harness.settings import store_folder
from harness.store.sqlite import Store, open_store
from harness.summary.cells import CellSummary, summarise
from harness.summary.earlier import earlier_values
from harness.summary.lost import lost
from harness.summary.selections import Selection, bad_selection, is_wanted, selection, unknown
from harness.summary.signs import signs
from harness.summary.unlike import flagged, unlike_history
from harness.views.costs import facts_json, facts_lines
from harness.views.lost import lost_json, lost_lines
from harness.views.results import as_json, as_table
from harness.views.signs import signs_json, signs_lines, unlike_json, unlike_lines
from harness.wiring import earlier_run

_KEYS = ("rig", "run", "title", "scene", "setting", "group", "state")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--run", metavar="RUN", help="the run (default: the latest)")
    parser.add_argument(
        "--where",
        metavar="KEY=VALUE",
        action="extend",
        nargs="+",
        default=[],
        help=f"only cells with this {', '.join(_KEYS)} or level; a key may be given again",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show the cells of one run."""
    wanted = selection(args.where, option="where")
    folder = store_folder(args.store)
    with open_store(folder, write=False) as store:
        name = args.run or _latest(store, wanted)
        store.run(name)
        earlier = earlier_run(store)
        entries, plan = earlier(name)
        summaries = summarise(entries, plan=plan, earlier=earlier)
        chosen = chosen_by(wanted, summaries)
        unlike = unlike_history(plan, chosen, _history(store, name, plan))
    chosen = flagged(chosen, unlike)
    shown = signs(entries, plan=plan)
    labels = {each.cell.key: each.cell.label for each in chosen}
    gone = lost(entries, among=labels)
    if args.json:
        found = {**as_json(chosen), **signs_json(shown), **unlike_json(unlike), **lost_json(gone)}
        found |= facts_json(plan, chosen)
        print(json.dumps(found, ensure_ascii=False, allow_nan=False), file=out)
    else:
        told = [*signs_lines(shown), *unlike_lines(unlike, labels)]
        for line in (
            *as_table(chosen, low=plan.compare.low, store=str(folder)),
            *([""] if told else []),
            *told,
            *lost_lines(gone, labels),
            *facts_lines(plan, chosen),
        ):
            print(line, file=out)
    return Exit.WELL


def _latest(store: Store, wanted: Selection) -> str:
    """Return the run that is named among what is wanted, else the latest of the wanted rigs."""
    runs = wanted.get("run", ())
    if len(runs) > 1:
        raise bad_selection(
            f"{len(runs)} runs are named, and this shows one", "name one: --run RUN"
        )
    if runs:
        return runs[0]
    rigs = wanted.get("rig")
    lines = store.runs() if rigs else store.runs(limit=1)
    if not lines:
        raise AskedError(
            Problem(code="no-run", what="the store has no run yet", do="harness run PLAN")
        )
    return next((line.run for line in lines if not rigs or line.rig in rigs), lines[0].run)


def _history(store: Store, run: str, plan: Plan) -> dict[str, list[list[float]]]:
    """Return what earlier runs on the same rig measured of the cells of *run*."""
    history = store.history()
    plans = history.plans(rig=store.run(run).rig)  # newest first
    place = next((n for n, (name, _, _) in enumerate(plans) if name == run), len(plans))
    return earlier_values(
        plan,
        (
            (hash_, frozen, partial(history.passes, name))
            for name, hash_, frozen in plans[place + 1 :]
        ),
    )


def chosen_by(wanted: Selection, summaries: Sequence[CellSummary]) -> tuple[CellSummary, ...]:
    """Return the cells that have one of the *wanted* values of every key.

    Raises:
        AskedError: no cell has one of them.
    """
    conditions = sorted({name for each in summaries for name, _ in each.cell.levels})
    values = [partial(_value, each) for each in summaries]
    problems = unknown(values, wanted, option="where", keys=(*_KEYS, *conditions))
    if problems:
        raise AskedError(problems)
    return tuple(each for each in summaries if is_wanted(partial(_value, each), wanted))


def _value(summary: CellSummary, key: str) -> str | None:
    cell = summary.cell
    own = {
        "rig": summary.rig,
        "run": summary.run,
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "group": str(summary.group),
        "state": summary.state.value,
    }
    return own[key] if key in own else dict(cell.levels).get(key)
