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
from harness.views.interrupted import interrupted, phase_words
from harness.views.run_line import line_json
from harness.views.superseded import superseded_json, superseded_lines
from harness.views.waiting import gates_json, waiting_words

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
        owner = runner_at_work(rig) if rig.exists() else None
        gone = {line.run: interrupted(line, owner, store=store, node=_node) for line in lines}
        again = {line.run: _bodies(store.reopened(line.run)) for line in lines}
    holds = Holds(rig).standing()
    if args.json:
        import json

        shown = {
            "schema": SCHEMA,
            "store": str(folder),
            "runner": None
            if owner is None
            else {
                "pid": owner.pid,
                "plan": owner.plan,
                "since": owner.since,
                "run": owner.run or None,
                "store": owner.store or None,
                "waits": gates_json(owner.waits),
            },
            "holds": [
                {"id": h.id, "run": h.run, "reason": h.reason, "do": h.do, "at": h.at}
                for h in holds
            ],
            "runs": [_as_json(x, gone[x.run], again[x.run]) for x in lines],
        }
        print(json.dumps(shown, ensure_ascii=False), file=out)
        return Exit.WELL
    print(f"store {folder}", file=out)
    if owner is not None:
        print(
            f"a runner is at work: process {owner.pid}, plan {owner.plan}, "
            f"since {_instant(owner.since)}",
            file=out,
        )
        if owner.run:
            print(f"  it carries out run {owner.run}, store {owner.store}", file=out)
        if owner.waits is not None:
            print(f"  it {waiting_words(owner.waits)}", file=out)
    else:
        print("no runner is at work on this rig", file=out)
    for hold in holds:
        if owner is not None and owner.run == hold.run:
            # What the run at work has yet to put back stands as a hold against all others.
            continue
        print(f"THE RIG IS HELD since {_instant(hold.at)}: {hold.reason}", file=out)
        print(f"  do:   {hold.do}", file=out)
        print(f"  then: harness release {hold.id} --by YOUR-NAME", file=out)
    print(file=out)
    for line in lines:
        _print_run(
            line,
            folder,
            out,
            gone=gone[line.run],
            at_work=owner is not None,
            at_gate=owner is not None and owner.run == line.run and owner.waits is not None,
            standing_holds=frozenset(hold.id for hold in holds),
        )
        for text in superseded_lines(again[line.run], results=_results(line, folder)):
            print(f"  {text}", file=out)
    if not lines:
        print("no run yet: harness run PLAN", file=out)
    return Exit.WELL


def _node() -> str:
    import platform

    return platform.node()


def _print_run(
    line: RunLine,
    folder: Path,
    out: TextIO,
    *,
    gone: bool | None,
    at_work: bool,
    at_gate: bool,
    standing_holds: frozenset[str],
) -> None:
    standing = line.standing
    passes = "1 pass" if standing.passes == 1 else f"{standing.passes} passes"
    cells = "1 cell" if line.cells == 1 else f"{line.cells} cells"
    counts = (
        f"{cells}: {standing.accepted} accepted, {standing.short} short, "
        f"{standing.failed} failed, {line.open_cells} open; {passes} judged"
    )
    phase = phase_words(line, gone)
    print(f"{line.run}   {phase} since {_instant(standing.since)}", file=out)
    print(f"  plan {line.plan_name}, rig {line.rig}, started {_instant(line.created_at)}", file=out)
    print(f"  {counts}", file=out)
    doing = (
        _interruption(line)
        if gone
        else _doing(line, folder, at_work=at_work, standing_holds=standing_holds)
    )
    if doing and not (at_gate and standing.phase == "idle"):  # the gate is told of already
        print(f"  {doing}", file=out)


def _interruption(line: RunLine) -> str:
    standing = line.standing
    where = (
        ""
        if standing.cell is None
        else f" in a pass (cell {standing.cell}, attempt {standing.attempt})"
    )
    return f"interrupted{where}; the same `harness run` goes on"


def _instant(instant: str) -> str:
    """Return an instant to the second, as a person reads it: UTC."""
    return f"{instant[:10]} {instant[11:19]} UTC" if instant else "-"


def _doing(line: RunLine, folder: Path, *, at_work: bool, standing_holds: frozenset[str]) -> str:
    standing = line.standing
    waits = _waits(standing.waits) or {}
    match standing.phase:
        case "pass":
            what = {None: "reference pass", True: "warm-up pass", False: "pass"}[standing.warm_up]
            return f"{what} in progress: cell {standing.cell}, attempt {standing.attempt}"
        case "step":
            say = " ".join(waits.get("say", ()))
            return f"step {waits.get('step')} waits for a person: {say}"
        case "held" if waits.get("hold") in standing_holds:
            return f"held: {waits.get('reason', 'see above')}"
        case "held":
            return "released since; goes on with the same harness run"
        case "finished":
            return f"figures: {_results(line, folder)}"
        case "paused":
            return "goes on with the same harness run"
        case "idle" if not at_work:
            return "goes on with the same harness run"
        case "idle":
            return "the next pass is being prepared: a gate, a level or the settling is awaited"
        case _:
            return ""


def _results(line: RunLine, folder: Path) -> str:
    import shlex

    return f"harness results --run {line.run} --store {shlex.quote(str(folder))}"


def _bodies(texts: tuple[str, ...]) -> list[dict[str, Any]]:
    if not texts:
        return []
    import json

    return [json.loads(text) for text in texts]


def _waits(text: str | None) -> dict[str, Any] | None:
    """Return the body of the open step or of the hold."""
    if not text:
        return None
    import json

    waits: dict[str, Any] = json.loads(text)
    return waits


def _as_json(line: RunLine, gone: bool | None, again: list[dict[str, Any]]) -> dict[str, object]:
    return {
        **line_json(line, interrupted=gone),
        "superseded": superseded_json(again),
        "waits": _waits(line.standing.waits),
    }
