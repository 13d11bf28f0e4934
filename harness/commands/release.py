"""Lift a hold: the rig has been put right. Whoever did it gives a name; it is kept.

Before you release a rig that was held for heat or power, let hot parts cool; before you open
a case shut down, switch off, unplug, hold the power button and discharge yourself. Ask a
qualified person when in doubt.
"""

from __future__ import annotations

import argparse
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.rig.clock import MachineClock
from harness.rig.holds import Holds
from harness.rig.tasks import Hold, Release
from harness.settings import rig_folder


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "hold", nargs="?", metavar="HOLD", help="which hold (default: the only one)"
    )
    parser.add_argument("--by", required=True, metavar="NAME", help="who has put the rig right")
    parser.add_argument("--note", default="", metavar="TEXT", help="what was done")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--store", metavar="FOLDER", help="not needed: a hold is of the rig")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Lift the hold, durably, and say how to go on."""
    holds = Holds(rig_folder())
    hold = _chosen(holds.standing(), args.hold)
    now = MachineClock().now().isoformat(timespec="seconds")
    holds.release(Release(hold=hold.id, by=args.by, note=args.note, at=now))
    left = holds.standing()
    if args.json:
        import json

        shown = {
            "schema": "harness.release/1",
            "released": hold.id,
            "still_held_by": [each.id for each in left],
        }
        print(json.dumps(shown, ensure_ascii=False), file=out)
        return Exit.WELL
    print(f"released: {hold.id} ({hold.reason})", file=out)
    for each in left:
        print(f"still held by {each.id}: {each.reason}", file=out)
    if not left:
        print("the rig is free; the same `harness run PLAN` goes on", file=out)
    return Exit.WELL


def _chosen(standing: tuple[Hold, ...], name: str | None) -> Hold:
    if name is None and len(standing) == 1:
        return standing[0]
    for hold in standing:
        if hold.id == name:
            return hold
    if not standing:
        raise AskedError(
            Problem(code="not-held", what="this rig is not held", do="nothing: it is free to run")
        )
    what = f"no hold is called {name!r}" if name else "several holds stand"
    raise AskedError(
        Problem(
            code="which-hold",
            what=what,
            where=tuple(f"{hold.id}: {hold.reason}" for hold in standing),
            do="name one of them",
        )
    )
