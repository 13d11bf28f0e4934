"""Measure some cells of a run again, under the plan it was frozen with.

New passes come beside the old ones: later ones count, the earlier are kept for good and shown as
superseded, with who asked and why. No other cell is touched. Where the rig is not what it was,
it is held, and the difference named; what a release accepts is a group of its own.

--failed and --void choose cells that were not accepted, by their counted and their warm-up passes;
--discarded also cells that were. Give the command in the folder the run was started in: paths in
the plan's commands begin there.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Sequence
from functools import partial
from typing import TextIO

from harness.commands.confirm import answered, later_words
from harness.commands.run import carry_on, refuse_if_held, status_of
from harness.commands.trace import cell_meant
from harness.errors import AskedError, Exit, Problem
from harness.plan.canonical import thaw
from harness.plan.document import Plan
from harness.rig.at_terminal import login_name
from harness.rig.clock import MachineClock
from harness.rig.locks import runner_at_work
from harness.rig.stop import StopFlag, signals
from harness.rules.judgement import Verdict
from harness.run.instructions import Outcome
from harness.run.records import CellState, RequestAnswered, RequestKind
from harness.run.state import Grid, RunState
from harness.settings import rig_folder, store_folder
from harness.store.checkpoints import run_started
from harness.store.sqlite import Store, open_store
from harness.summary.cells import GROUP_LEFT, CellSummary, summarise
from harness.views.outcome import as_text
from harness.wiring import rig_in_hand, run_view

SCHEMA = "harness.rerun/1"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("run", metavar="RUN", help="the run, as harness status names it")
    parser.add_argument(
        "--cell", metavar="CELL", action="append", default=[], help="a cell's key; may be repeated"
    )
    parser.add_argument(
        "--failed",
        action="store_true",
        help="cells that failed, and short ones with a failed pass; warm-up passes too",
    )
    parser.add_argument(
        "--void",
        action="store_true",
        help="cells not accepted that have a void pass, warm-up passes too",
    )
    parser.add_argument(
        "--discarded", action="store_true", help="cells of which a rule discarded a pass"
    )
    parser.add_argument("--because", default="", metavar="TEXT", help="why; kept and shown")
    parser.add_argument("--by", metavar="NAME", help="who asks (default: the login name)")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--plain", action="store_true", help="plain lines, also in a terminal")
    parser.add_argument("--json", action="store_true", help="print one JSON object at the end")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Put the request to the run; with no runner at work, carry the run on."""
    by = args.by or _login()
    folder = store_folder(args.store)
    shown = sys.stderr if args.json else out
    with open_store(folder, write=True, check=False) as store:
        store.run(args.run)
        entries = store.entries(args.run)
        started = run_started(store, args.run)
        plan = thaw(started.plan)
        chosen = _chosen(args, summarise(entries, plan=plan), Grid.of(plan))
        for each in chosen:
            print(f"measured again: {each.cell.label} ({_had(each)})", file=shown)
        put = partial(
            store.put_request,
            args.run,
            RequestKind.RERUN,
            by=by,
            note=args.because,
            cells=tuple(each.cell.key for each in chosen),
        )
        if runner_at_work(rig_folder()) is None:
            outcome, state = _carried_on(args, store, plan, started.plan_file, put, shown)
            if args.json:
                _print_json(args.run, chosen, out, accepted=True, answer="", outcome=outcome)
            else:
                kept = str(folder.absolute())
                print(as_text(outcome, state, plan_file=started.plan_file, store=kept), file=out)
            return status_of(outcome, state)
        clock = MachineClock()
        number = put(at=clock.now())
        answer = answered(store, args.run, number, clock, folder, confirms=False)
        later = "" if answer is not None else later_words(store, args.run, folder)
    return _show(args, chosen, answer, later, out)


def _login() -> str:
    name = login_name()
    if not name:
        raise AskedError(
            Problem(
                code="name-needed",
                what="this system does not say who you are",
                do="name yourself with --by YOUR-NAME; the name is kept with the rerun",
            )
        )
    return name


def _had(summary: CellSummary) -> str:
    """Return in words how a cell stands, and what became of its passes."""
    passes, warm_ups = summary.passes, summary.warm_ups
    counted = passes.kept + passes.discarded + passes.void + passes.failed
    failed = warm_ups.count(Verdict.FAILED)
    before = f", {failed} of {len(warm_ups)} warm-up passes failed" if failed else ""
    return f"{summary.state.value}, {passes.kept} kept of {counted} passes{before}"


def _chosen(
    args: argparse.Namespace, summaries: Sequence[CellSummary], grid: Grid
) -> tuple[CellSummary, ...]:
    """Return the cells that were meant, in plan order.

    Raises:
        AskedError: a cell is not there, or nothing was meant.
    """
    named = {_whole(text, grid, run_name=args.run) for text in args.cell}
    standing = [each for each in summaries if GROUP_LEFT not in each.flags]
    chosen = tuple(each for each in standing if each.cell.key in named or _asked(args, each))
    if chosen:
        return chosen
    ways = [f"--{name}" for name in ("failed", "void", "discarded") if getattr(args, name)]
    what = f"no cell of the run is chosen by {' '.join(ways)}" if ways else "no cell is named"
    raise AskedError(
        Problem(
            code="nothing-to-rerun",
            what=what,
            where=(f"run {args.run}",),
            do="name cells with --cell KEY (harness trace lists them), or choose them with "
            "--failed, --void or --discarded",
        )
    )


def _whole(text: str, grid: Grid, *, run_name: str) -> str:
    key, attempt = cell_meant(text, grid, run=run_name)
    if attempt is not None:
        raise AskedError(
            Problem(
                code="cell-not-pass",
                what=f"{text!r} names one pass, and a cell is measured again as a whole",
                where=(grid.cells[key].label,),
                do=f"write --cell {key}",
            )
        )
    return key


def _asked(args: argparse.Namespace, summary: CellSummary) -> bool:
    """Return whether a cell is chosen by what became of it.

    A cell may have failed in its warm-up alone, before any of its passes counted.
    """
    passes, warm_ups = summary.passes, summary.warm_ups
    missed = summary.state in (CellState.SHORT, CellState.FAILED)
    failed = passes.failed > 0 or Verdict.FAILED in warm_ups
    void = passes.void > 0 or Verdict.VOID in warm_ups
    return (
        (args.failed and missed and (failed or summary.state is CellState.FAILED))
        or (args.void and missed and void)
        or (args.discarded and passes.discarded > 0)
    )


def _carried_on(
    args: argparse.Namespace,
    store: Store,
    plan: Plan,
    plan_file: str,
    put: partial[int],
    shown: TextIO,
) -> tuple[Outcome, RunState]:
    """Be the runner of the run: ask, answer, and carry it on to its end."""
    flag = StopFlag()
    live = sys.stderr.isatty() and shown.isatty() and not (args.plain or args.json)
    view = partial(run_view, shown, live=live, store=store.folder)
    with (
        signals(flag),
        rig_in_hand(
            plan=plan_file, store=store.folder, flag=flag, view=view, gpu=plan.rig.gpu
        ) as rig,
    ):
        refuse_if_held(rig.bench, run=args.run)
        put(at=rig.clock.now())
        return carry_on(store, rig, plan, plan_file, args.run, flag)


def _show(
    args: argparse.Namespace,
    chosen: Sequence[CellSummary],
    answer: RequestAnswered | None,
    later: str,
    out: TextIO,
) -> Exit:
    accepted = None if answer is None else answer.accepted
    text = later if answer is None else answer.answer
    if args.json:
        _print_json(args.run, chosen, out, accepted=accepted, answer=text, outcome=None)
    elif accepted is False:
        raise AskedError(
            Problem(
                code="not-rerun",
                what=text,
                where=(f"run {args.run}",),
                do=f"see `harness trace --run {shlex.quote(args.run)}`",
            )
        )
    else:
        print(f"run {args.run}: {text}", file=out)
    return Exit.ASKED_WRONGLY if accepted is False else Exit.WELL


def _print_json(
    run: str,
    chosen: Sequence[CellSummary],
    out: TextIO,
    *,
    accepted: bool | None,
    answer: str,
    outcome: Outcome | None,
) -> None:
    shown = {
        "schema": SCHEMA,
        "run": run,
        "cells": [
            {"cell": each.cell.key, "label": each.cell.label, "state": each.state.value}
            for each in chosen
        ],
        "accepted": accepted,
        "answer": answer,
        "outcome": None if outcome is None else outcome.value,
    }
    print(json.dumps(shown, ensure_ascii=False), file=out)
