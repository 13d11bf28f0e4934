"""Where the runs stand: their cells, what is going on, holds, and what comes next.

Reads the store and the rig's own state; never disturbs a runner.
"""

from __future__ import annotations

import argparse

from harness.errors import Exit
from harness.rig.holds import Holds
from harness.rig.locks import runner_at_work
from harness.settings import rig_folder, store_folder
from harness.store.sqlite import open_store

TYPE_CHECKING = False  # as typing has it: this module must be quick to import
if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any, TextIO

    from harness.store.standing import RunLine

SCHEMA = "harness.status/1"
_LATEST = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument(
        "--all", action="store_true", help=f"every run, not only the latest {_LATEST}"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show every run's standing and the rig's holds."""
    folder = store_folder(args.store)
    with open_store(folder, write=False) as store:
        lines = store.runs(limit=-1 if args.all else _LATEST)
    rig = rig_folder()
    holds = Holds(rig).standing()
    owner = runner_at_work(rig) if rig.exists() else None
    if args.json:
        import json

        shown = {
            "schema": SCHEMA,
            "store": str(folder),
            "runner": None
            if owner is None
            else {"pid": owner.pid, "plan": owner.plan, "since": owner.since},
            "holds": [
                {"id": h.id, "run": h.run, "reason": h.reason, "do": h.do, "at": h.at}
                for h in holds
            ],
            "runs": [_as_json(line) for line in lines],
        }
        print(json.dumps(shown, ensure_ascii=False), file=out)
        return Exit.WELL
    print(f"store {folder}", file=out)
    if owner is not None:
        print(
            f"a runner is at work: process {owner.pid}, plan {owner.plan}, since {owner.since}",
            file=out,
        )
    else:
        print("no runner is at work on this rig", file=out)
    for hold in holds:
        print(f"THE RIG IS HELD since {hold.at}: {hold.reason}", file=out)
        print(f"  do:   {hold.do}", file=out)
        print(f"  then: harness release {hold.id} --by YOUR-NAME", file=out)
    print(file=out)
    for line in lines:
        _print_run(line, folder, out)
    if not lines:
        print("no run yet: harness run PLAN", file=out)
    return Exit.WELL


def _print_run(line: RunLine, folder: Path, out: TextIO) -> None:
    standing = line.standing
    counts = (
        f"{line.cells} cells: {standing.accepted} accepted, {standing.short} short, "
        f"{standing.failed} failed, {line.open_cells} open; {standing.passes} passes judged"
    )
    print(f"{line.run}   {standing.phase} since {_minute(standing.since)}", file=out)
    print(f"  plan {line.plan_name}, rig {line.rig}, started {_minute(line.created_at)}", file=out)
    print(f"  {counts}", file=out)
    doing = _doing(line, folder)
    if doing:
        print(f"  {doing}", file=out)


def _minute(instant: str) -> str:
    """Return an instant to the second, as a person reads it: UTC."""
    return f"{instant[:10]} {instant[11:19]} UTC" if instant else "-"


def _doing(line: RunLine, folder: Path) -> str:
    standing = line.standing
    waits = _waits(standing.waits) or {}
    match standing.phase:
        case "pass":
            what = "warm-up pass" if standing.warm_up else "pass"
            return f"{what} in progress: cell {standing.cell}, attempt {standing.attempt}"
        case "step":
            say = " ".join(waits.get("say", ()))
            return f"step {waits.get('step')} waits for a person: {say}"
        case "held":
            return f"held: {waits.get('reason', 'see above')}"
        case "finished":
            import shlex

            return f"figures: harness results --run {line.run} --store {shlex.quote(str(folder))}"
        case "paused":
            return "goes on with the same harness run"
        case _:
            return ""


def _waits(text: str | None) -> dict[str, Any] | None:
    """Return the body of the open step or of the hold."""
    if not text:
        return None
    import json

    waits: dict[str, Any] = json.loads(text)
    return waits


def _as_json(line: RunLine) -> dict[str, object]:
    standing = line.standing
    return {
        "run": line.run,
        "plan": line.plan_name,
        "rig": line.rig,
        "created_at": line.created_at,
        "phase": standing.phase,
        "since": standing.since,
        "cells": {
            "all": line.cells,
            "open": line.open_cells,
            "accepted": standing.accepted,
            "short": standing.short,
            "failed": standing.failed,
        },
        "passes": standing.passes,
        "pass_in_progress": None
        if standing.cell is None
        else {"cell": standing.cell, "attempt": standing.attempt, "warm_up": standing.warm_up},
        "waits": _waits(standing.waits),
    }
