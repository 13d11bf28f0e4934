"""What would spoil a night on this rig: the plan's needs, and the rig as it is now.

Nothing of the plan is started and nothing is changed. Each check is met, not met or not
measured, with what to do; the exit status is 3 where the rig is not ready.
"""

from __future__ import annotations

import argparse
import json
import platform
import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial
from itertools import islice
from pathlib import Path
from typing import TextIO

from harness.commands.run import checked
from harness.commands.sensors import WINDOW_S
from harness.errors import Exit
from harness.plan.canonical import plan_hash
from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.plan.nights import night_end
from harness.rig.clock import MachineClock, zone_named
from harness.rig.survey import ReferenceSeen, Seen, Surveyor
from harness.run.findings import Observed
from harness.run.preflight import preflight, read_for, ready
from harness.run.preflight_plan import wanted
from harness.settings import store_folder
from harness.store.history import LATEST, has_records
from harness.store.room import bytes_of_a_pass
from harness.summary.reference_history import Run, reference_now
from harness.views.preflight import as_json, as_text
from harness.wiring import surveyor

#: How far ahead is looked where the plan names no night, hours.
_AHEAD_H = 12
_BYTES_PER_GIB = 1024.0**3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", help="the plan file")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is going to be kept")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Look at the rig and judge it; return 3 where it is not ready."""
    plan = checked(args.plan)
    folder = store_folder(args.store)
    clock = MachineClock()
    looking = surveyor(store=folder, clock=clock, gpu=plan.rig.gpu, primed_s=WINDOW_S)
    seen = observe(plan, looking, folder, now=clock.now())
    findings = preflight(plan, seen)
    if args.json:
        shown = as_json(
            plan, findings, until=seen.until, identity=seen.identity, plan_hash=plan_hash(plan)
        )
        print(json.dumps(shown, ensure_ascii=False), file=out)
    else:
        columns = shutil.get_terminal_size().columns
        lines = as_text(plan, findings, file=args.plan, until=seen.until, columns=columns)
        out.writelines(f"{line}\n" for line in lines)
    return Exit.WELL if ready(findings) else Exit.RIG_NOT_READY


def observe(plan: Plan, looking: Surveyor, folder: Path, *, now: datetime) -> Observed:
    """Return the rig and the store as they are, for a run of *plan* that would begin *now*."""
    return Observed(
        now=now,
        until=_until(plan, now),
        readings=looking.readings(read_for(plan)),
        identity=looking.identity(plan.titles),
        restart=looking.restart_pending(),
        timers=looking.timers(),
        idle=looking.idle_action(),
        runner=looking.runner(),
        leftovers=looking.leftovers(),
        holds=looking.holds(),
        looked_for=looking.looked_for(wanted(plan)),
        kept_gib=_kept(plan, folder),
        reference=_reference(plan, folder),
    )


def _until(plan: Plan, now: datetime) -> datetime:
    """Return when the plan's night ends; without one, some hours from now."""
    if plan.night is None:
        return now.astimezone() + timedelta(hours=_AHEAD_H)
    zone = zone_named(plan.night.zone) or now.astimezone().tzinfo
    assert zone is not None
    return night_end(plan.night, now, zone=zone)


def _kept(plan: Plan, folder: Path) -> Seen[float]:
    """Return what the whole plan may keep, GiB, by what passes took so far in this store."""
    a_pass = bytes_of_a_pass(folder)
    if a_pass is None:
        return Seen(why="this store has no pass yet to judge by")
    passes = len(cells(plan)) * (plan.passes.at_most + plan.passes.warm_up.passes)
    return Seen(value=passes * a_pass / _BYTES_PER_GIB)


def _reference(plan: Plan, folder: Path) -> Seen[ReferenceSeen]:
    if plan.reference is None or not has_records(folder):
        return reference_now(plan, ())
    from harness.store.sqlite import open_store

    with open_store(folder, write=False) as store:

        def frozen(name: str) -> str:
            text: str = json.loads(next(store.rows(name)).body)["plan"]
            return text

        here = (line.run for line in store.runs() if line.rig == platform.node())
        latest: Iterator[Run] = (
            (frozen(name), partial(store.entries, name)) for name in islice(here, LATEST)
        )
        return reference_now(plan, latest)
