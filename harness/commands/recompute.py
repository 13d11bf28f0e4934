"""Figures and verdicts again, from the kept captures, beside the old ones: no new pass.

Every capture is read again as the plan says and judged again by this harness; --low shows the
low figures under another definition, --rule decides with other discard rules than the plan's
(it may be repeated). Old stands beside new for each cell. What comes of it is kept as a file of
its own in the store's folder `recomputed`, named by its content; no record is touched.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TextIO

from harness import __version__
from harness.commands.results import chosen_by
from harness.errors import AskedError, Exit, Problem, StoreError
from harness.plan.canonical import thaw
from harness.plan.document import DiscardRule, Plan
from harness.plan.rule_text import rules_of
from harness.rig.tasks import PassReport, PassTask
from harness.rules.faults import OF_READING
from harness.rules.figures import LOW_DEFINITIONS
from harness.rules.guards import GuardWatch
from harness.rules.judge import judge
from harness.rules.judgement import Verdict
from harness.rules.meter import measure
from harness.run import records as r
from harness.run.ports import Entry
from harness.run.state import Grid
from harness.settings import store_folder
from harness.store.checkpoints import run_started
from harness.store.derived import keep_derived
from harness.store.sqlite import Store, open_store
from harness.store.unpacked import unpacked
from harness.summary.cells import CellSummary, summarise
from harness.summary.passes import Pass, gather
from harness.summary.recomputed import AgainPass, Decided, Recomputed, decided_again
from harness.summary.selections import selection
from harness.views.recomputed import SCHEMA, as_json, as_text
from harness.wiring import vocabulary


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("run", nargs="?", metavar="RUN", help="the run (or choose with --where)")
    parser.add_argument(
        "--where",
        metavar="KEY=VALUE",
        action="append",  # one value each time: RUN may stand after it
        default=[],
        help="only cells with this run, rig, title, scene, setting, state or level; repeatable",
    )
    parser.add_argument("--low", choices=LOW_DEFINITIONS, help="definition of the low figures")
    parser.add_argument(
        "--rule",
        metavar="RULE",
        action="append",
        default=[],
        help="as in a plan: 'rule: spread, on: average_fps, more_than: 2 %%'; or: none",
    )
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Measure and decide again, keep what comes of it, and show old against new."""
    if args.run is None and not args.where:
        raise AskedError(
            Problem(
                code="nothing-selected",
                what="neither a run nor a selection is named",
                do="write harness recompute RUN, or --where KEY=VALUE; harness status names runs",
            )
        )
    wanted = selection(args.where, option="where")
    folder = store_folder(args.store)
    cells: list[Recomputed] = []
    unread: list[dict[str, object]] = []
    taken: list[dict[str, object]] = []
    lows: set[str] = set()
    with open_store(folder, write=False) as store:
        names = [args.run] if args.run is not None else [x.run for x in reversed(store.runs())]
        found: list[tuple[str, Plan, tuple[Entry, ...], list[CellSummary]]] = []
        for name in names:
            store.run(name)
            entries = store.entries(name)
            plan = thaw(run_started(store, name).plan)
            found.append((name, plan, entries, [*summarise(entries, plan=plan)]))
        everything = [each for *_, summaries in found for each in summaries]
        chosen = {id(each) for each in chosen_by(wanted, everything)}
        for _, plan, entries, summaries in found:
            own = [each for each in summaries if id(each) in chosen]
            if own:
                rules = plan.discard
                if args.rule:
                    rules = rules_of(args.rule, plan, vocabulary=vocabulary())
                lows.add(plan.compare.low)
                cells += _recomputed(store, plan, entries, own, rules, unread, taken)
    old_low = ", ".join(sorted(lows)) or LOW_DEFINITIONS[0]
    new_low = args.low or next(iter(sorted(lows)), LOW_DEFINITIONS[0])
    content: dict[str, object] = {
        "schema": SCHEMA,
        "harness": __version__,
        "low": new_low,
        "rules": args.rule,
        "cells": as_json(cells),
        "not_read": unread,
        "taken": taken,
    }
    kept = keep_derived(folder, args.run or "selection", content)
    if args.json:
        print(json.dumps({**content, "file": str(kept)}, ensure_ascii=False), file=out)
        return Exit.WELL
    first_old = sorted(lows)[0] if lows else old_low
    for line in as_text(cells, old_low=first_old, new_low=new_low, rules=args.rule):
        print(line, file=out)
    for each in unread:
        what = f"attempt {each['attempt']} of cell {each['cell']}"
        print(f"\nnot read again, and taken as it was: {what}: {each['why']}", file=out)
    for each in taken:
        what = f"cell {each['cell']} of run {each['run']} was taken from run {each['from']}"
        print(f"\nnot decided again: {what}: recompute that", file=out)
    print(f"\nkept as {kept}; no record was touched", file=out)
    return Exit.WELL


def _recomputed(
    store: Store,
    plan: Plan,
    entries: Sequence[Entry],
    summaries: Sequence[CellSummary],
    rules: Sequence[DiscardRule],
    unread: list[dict[str, object]],
    taken: list[dict[str, object]],
) -> Iterator[Recomputed]:
    """Yield every one of *summaries*, decided again."""
    grid = Grid.of(plan)
    gathered = gather(entry.record for entry in entries)
    ended = {
        (entry.record.cell, entry.record.attempt): entry.record
        for entry in entries
        if isinstance(entry.record, r.PassEnded)
    }
    judged = {
        (entry.record.cell, entry.record.attempt): entry.record
        for entry in entries
        if isinstance(entry.record, r.PassJudged)
    }
    for summary in summaries:
        key = summary.cell.key
        of_cell = gathered.cells.get(key)
        if of_cell is not None and of_cell.reused is not None:
            taken.append({"run": summary.run, "cell": key, "from": of_cell.reused.run})
            continue
        passes = [
            each
            for _, each in sorted(of_cell.passes.items() if of_cell is not None else ())
            if each.group == summary.group
            and not each.warm_up
            and not each.reference
            and each.verdict not in (None, Verdict.INTERRUPTED)
        ]
        again = [
            _stands(
                _again(store, grid, key, each, ended.get((key, each.attempt)), summary, unread),
                judged.get((key, each.attempt)),
            )
            for each in passes
        ]
        yield Recomputed(
            run=summary.run,
            rig=summary.rig,
            cell=summary.cell,
            group=summary.group,
            old=Decided(
                state=summary.state,
                verdicts=tuple(
                    (each.attempt, each.verdict.value, "") for each in passes if each.verdict
                ),
                figures=summary.figures,
            ),
            new=decided_again(
                again,
                rules=rules,
                plan=plan,
                cell=summary.cell,
                sized=of_cell.sized if of_cell is not None else None,
                was=summary.state,
            ),
        )


def _stands(again: AgainPass, was: r.PassJudged | None) -> AgainPass:
    """Return *again*, unless it would keep what a fault of that moment made void or failed.

    Not all that was seen then is on record (a device that answered no more is not), and no
    other rule or definition changes it.
    """
    if was is None or was.fault is None or again.verdict is not Verdict.KEPT:
        return again
    if was.fault in OF_READING:
        return again
    return replace(again, verdict=was.verdict, reason=was.reason)


def _again(
    store: Store,
    grid: Grid,
    key: str,
    each: Pass,
    record: r.PassEnded | None,
    summary: CellSummary,
    unread: list[dict[str, object]],
) -> AgainPass:
    """Measure one pass again and judge it again; where it cannot be read, it stays as it was."""
    assert each.verdict is not None
    as_it_was = AgainPass(
        attempt=each.attempt,
        verdict=Verdict.KEPT if each.verdict is Verdict.DISCARDED else each.verdict,
        reason="as it was kept",
        figures=each.figures,
    )
    if record is None or record.end is None or record.bundle is None:
        return as_it_was  # it left nothing that could be read
    title = grid.titles[key]
    task = PassTask(
        run=summary.run,
        cell=summary.cell,
        title=title,
        attempt=each.attempt,
        warm_up=False,
        fill={},
        watch=GuardWatch((), ()),
    )
    report = PassReport(
        end=record.end,
        failed_step=record.failed_step,
        guards=record.guards,
        expects=record.expects,
        others=record.others,
        limit=record.limit,
        limit_step=record.limit_step,
        recorder=record.recorder,
        changed_files=record.changed_files,
        slept_s=record.slept_s,
        clock_jumped_s=record.clock_jumped_s,
    )
    try:
        with unpacked(store, record.bundle) as folder:
            measured = measure(task, replace(report, folder=folder))
    except StoreError as error:
        unread.append({"run": summary.run, "cell": key, "attempt": each.attempt,
                       "why": error.problems[0].what})  # fmt: skip
        return as_it_was
    judgement = judge(report, measured, title=title, marks=())
    return AgainPass(
        attempt=each.attempt,
        verdict=judgement.verdict,
        reason=judgement.reason,
        figures=measured.figures,
    )
