"""The story of a cell or a pass: every record about it, down to the capture's hash.

CELL is a cell's key, or the beginning of one, as `harness results --json` shows it; CELL-007
is its attempt 7, shown with the last lines that its commands printed. Without it every cell
of the run is listed with its key.
"""

from __future__ import annotations

import argparse
import json
import re
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any, TextIO

from harness.commands.within import of_bundle
from harness.errors import AskedError, Exit, Problem, printable
from harness.plan.canonical import thaw
from harness.run import records as r
from harness.run.ports import Entry
from harness.run.state import Grid
from harness.settings import store_folder
from harness.store.bodies import kind_of, to_body
from harness.store.checkpoints import run_started
from harness.store.sqlite import Store, open_store
from harness.summary.despite import about_cell
from harness.summary.forecasts import Borne, borne_out
from harness.summary.within_frames import FramesWithin
from harness.views.despite import despite_json, despite_words
from harness.views.foretold import borne_words, foretold_lines
from harness.views.harness_cost import cost_detail, cost_words
from harness.views.numbers import number
from harness.views.story import figure_words, sentence
from harness.views.within import within_json, within_lines

SCHEMA = "harness.trace/1"
_LAST_LINES = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("cell", nargs="?", metavar="CELL", help="a cell's key, or KEY-ATTEMPT")
    parser.add_argument("--run", metavar="RUN", help="the run (default: the latest)")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument(
        "--within", action="store_true",
        help="of one pass: where its frames settle, and intervals by its frames alone",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show the story."""
    folder = store_folder(args.store)
    with open_store(folder, write=False) as store:
        name = args.run or _latest(store)
        store.run(name)
        grid = _grid(store, name)
        if args.cell is None:
            borne = borne_out(entry.record for entry in store.entries(name))
            _list_cells(name, grid, borne, out, as_json=args.json)
            return Exit.WELL
        key, attempt = cell_meant(args.cell, grid, run=name)
        entries = store.story(name, key, attempt=attempt)
        if attempt is not None and not entries:
            whole = f"harness trace {key} --run {name} --store {shlex.quote(str(folder))}"
            made = _attempts(store.story(name, key))
            raise AskedError(_no_such_attempt(key, attempt, made, grid, whole=whole))
        entries = _with_groups(store, name, entries)
        kept = about_cell(store.comparisons().all(), run=name, cell=key)
        within = _within(store, name, grid, key, entries, attempt) if args.within else None
        if args.json:
            shown = _as_json(name, key, attempt, entries)
            shown["comparisons"] = [despite_json(each) for each in kept]
            if args.within:
                shown["within"] = within_json(within)
            print(json.dumps(shown, ensure_ascii=False), file=out)
            return Exit.WELL
        print(f"{grid.cells[key].label}   cell {key}, run {name}", file=out)
        for entry in entries:
            instant = f"{entry.at:%Y-%m-%d %H:%M:%S} UTC"
            print(f"{entry.seq:>6}  {instant}  {sentence(entry.record, grid)}", file=out)
            for line in _details(entry.record):
                print(f"        {line}", file=out)
            for line in _output(store, entry.record) if attempt is not None else ():
                print(f"        {line}", file=out)
        for line in within_lines(within) if args.within else ():
            print(line, file=out)
        for each in kept:
            print(f"compared despite differences: {despite_words(each)}", file=out)
    return Exit.WELL


def _within(
    store: Store, run: str, grid: Grid, key: str, entries: Sequence[Entry], attempt: int | None
) -> FramesWithin | None:
    """Return what the frames of the pass tell by themselves."""
    ended = [each.record for each in entries if isinstance(each.record, r.PassEnded)]
    found = [each.bundle for each in ended if each.bundle is not None]
    if attempt is None or not found:
        raise AskedError(
            Problem(
                code="no-frames",
                what="--within is of one pass"
                if attempt is None
                else "this attempt left nothing that was kept",
                do=f"name an attempt that ended: harness trace {key}-001 --run {run} --within",
            )
        )
    return of_bundle(store, grid.titles[key], found[-1])


def _with_groups(store: Store, run: str, story: Sequence[Entry]) -> tuple[Entry, ...]:
    """Return *story* with the groups that its passes are in: what the rig was at the time."""
    begun = {each.record.group for each in story if isinstance(each.record, r.PassStarted)}
    opened = (each for each in store.entries(run) if isinstance(each.record, r.GroupOpened))
    of_it = [each for each in opened if getattr(each.record, "group", None) in begun]
    return tuple(sorted((*of_it, *story), key=lambda each: each.seq))


def _latest(store: Store) -> str:
    lines = store.runs(limit=1)
    if not lines:
        raise AskedError(
            Problem(code="no-run", what="the store has no run yet", do="harness run PLAN")
        )
    return lines[0].run


def _grid(store: Store, name: str) -> Grid:
    return Grid.of(thaw(run_started(store, name).plan))


def _list_cells(run: str, grid: Grid, borne: Borne, out: TextIO, *, as_json: bool) -> None:
    if as_json:
        cells = [{"cell": key, "label": cell.label} for key, cell in grid.cells.items()]
        shown = {"schema": SCHEMA, "run": run, "cells": cells, "forecasts": asdict(borne)}
        print(json.dumps(shown, ensure_ascii=False), file=out)
        return
    for key, cell in grid.cells.items():
        print(f"{key}  {cell.label}", file=out)
    if borne.forecasts:
        print(f"\n{borne_words(borne)}", file=out)


def cell_meant(text: str, grid: Grid, *, run: str) -> tuple[str, int | None]:
    """Return the cell that *text* names, by its key or the beginning of it, and the attempt.

    Raises:
        AskedError: it names no cell, or several.
    """
    prefix, sign, number = text.partition("-")
    found = [key for key in grid.cells if key.startswith(prefix)]
    if len(found) != 1 or (sign and not re.fullmatch(r"[0-9]+", number)):
        what = "no cell" if not found else f"{len(found)} cells"
        raise AskedError(
            Problem(
                code="no-such-cell",
                what=f"{what} of run {run} can be meant by {text!r}",
                where=tuple(f"{key}  {grid.cells[key].label}" for key in found[:10]),
                do=f"list its keys: harness trace --run {run}; another run may have it",
            )
        )
    return found[0], int(number) if sign else None


def _attempts(story: Sequence[Entry]) -> Sequence[int]:
    begun = (entry.record for entry in story)
    return sorted({x.attempt for x in begun if isinstance(x, r.PassStarted | r.PassSkipped)})


def _no_such_attempt(
    key: str, attempt: int, made: Sequence[int], grid: Grid, *, whole: str
) -> Problem:
    there = ", ".join(f"{key}-{number:03}" for number in made)
    return Problem(
        code="no-such-attempt",
        what=f"the cell has no attempt {attempt}",
        where=(grid.cells[key].label, f"attempts: {there or 'none yet'}"),
        do=f"name one that there is, or see the whole cell: {whole}",
    )


def _details(record: r.Record) -> Sequence[str]:
    if isinstance(record, r.GroupOpened):
        read = [f"{name}: {text}" for name, text in record.fields]
        return [*read, *(f"{name} not measured: {why}" for name, why in record.unread)]
    if isinstance(record, r.PassStarted | r.PassSkipped | r.RigHeld):
        return tuple(foretold_lines(record.foretold))
    if not isinstance(record, r.PassEnded):
        return ()
    lines = [f"{figure_words(f)} ({f.definition})" for f in record.figures]
    lines += [f"note: {note}" for note in record.notes]
    for each in record.readings:
        if each.mean is None:
            lines.append(f"{each.name} not measured: {each.why}")
        else:
            lines.append(
                f"{each.name} mean {number(each.mean)}, {number(each.least)} to "
                f"{number(each.most, each.unit)} ({each.measured} of {each.samples} samples)"
            )
    if record.bundle is not None:
        lines.append(f"bundle {record.bundle.path}, SHA-256 {record.bundle.sha256}")
        lines += [
            f"  {name}  {size} bytes  SHA-256 {sha}" for name, sha, size in record.bundle.members
        ]
    if record.end is not None and record.end.wall_s:
        share = 100 * record.harness_cpu_s / record.end.wall_s
        used = f"{record.harness_cpu_s:.3f} s of processor time ({share:.2f} % of the pass)"
        lines.append(f"the harness itself used {used}")
    if record.harness_cost is not None:
        lines += [cost_words(record.harness_cost), cost_detail(record.harness_cost)]
    return [line for line in lines if line]


def _output(store: Store, record: r.Record) -> Iterator[str]:
    """Give the last lines that the commands of a pass printed, what is invisible escaped."""
    if not isinstance(record, r.PassEnded) or record.bundle is None:
        return
    for name, _, size in record.bundle.members:
        if not name.startswith("output/") or not size:
            continue
        with store.open_member(record.bundle, name) as member:
            lines = member.read().decode("utf-8", errors="replace").splitlines()
        yield f"{name}, the last {min(len(lines), _LAST_LINES)} of {len(lines)} lines:"
        for line in lines[-_LAST_LINES:]:
            yield f"  {printable(line)}"


def _as_json(run: str, cell: str, attempt: int | None, entries: Sequence[Entry]) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "run": run,
        "cell": cell,
        "attempt": attempt,
        "records": [
            {
                "seq": entry.seq,
                "at": entry.at.isoformat(),
                "boot": entry.boot,
                "kind": kind_of(entry.record),
                "body": json.loads(to_body(entry.record)),
            }
            for entry in entries
        ],
    }
