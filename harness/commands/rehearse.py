"""The night in simulated time: order, waits, a person's steps, finish, what would be left over.

The same machine and rules as in `harness run`, over a rehearsed rig: nothing is launched and
nothing is kept. Lengths and temperatures come from earlier passes of the same cells in the store
where there are any, else from the plan; which of them is said. --faults SEED plays a bad night;
the same seed plays the same one.
"""

from __future__ import annotations

import argparse
import json
import platform
import random
from datetime import UTC, datetime, timedelta, tzinfo
from functools import partial
from pathlib import Path
from typing import TextIO

from harness.commands.run import checked
from harness.errors import AskedError, Exit, Problem
from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.plan.nights import zone_of_hours
from harness.rig.clock import MachineClock, zone_named
from harness.settings import store_folder
from harness.store.history import has_records, open_history
from harness.store.seen import HeatSeen
from harness.summary.assumed import Assumed, assumed, heated
from harness.summary.earlier import earlier
from harness.summary.rehearsal import rehearse
from harness.units import Unreadable, length_s
from harness.views.rehearsal import MOST_ROWS, as_text
from harness.views.rehearsal_json import as_json

#: Runs whose temperatures are looked at, the latest first: older ones say less of the rig.
_LATEST = 3

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", help="the plan file")
    parser.add_argument("--faults", type=int, metavar="SEED", help="play a bad night")
    parser.add_argument(
        "--from",
        dest="start",
        metavar="TIME",
        help="when it starts: 22:30, or 2026-11-02 22:30, in the zone of the plan's night, else "
        "of this machine (default: the plan's night, else now)",
    )
    parser.add_argument(
        "--person",
        default="10 min",
        metavar="TIME",
        help="how long after it was asked a step is done (default: 10 min)",
    )
    parser.add_argument("--all", action="store_true", help="every pass, not only the first")
    parser.add_argument("--store", metavar="FOLDER", help="where earlier passes are looked for")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Rehearse the plan and show what came of it."""
    plan = checked(args.plan)
    person_s = _person_s(args.person)
    zone = _zone(plan)
    start = _start(args.start, plan, zone, now=MachineClock().now())
    taken = _taken(plan, store_folder(args.store))
    told = rehearse(
        plan,
        assumed=taken,
        start=start,
        zone=zone,
        person_s=person_s,
        chance=random.Random(args.faults or 0),
        bad=args.faults is not None,
    )
    grid = {cell.key: cell for cell in cells(plan)}
    if args.json:
        shown = as_json(
            plan.name, told, taken, grid, zone=zone, person_s=person_s, seed=args.faults
        )
        print(json.dumps(shown, ensure_ascii=False, allow_nan=False), file=out)
    else:
        lines = as_text(
            plan.name,
            told,
            taken,
            grid,
            zone=zone,
            person_s=person_s,
            seed=args.faults,
            rows=None if args.all else MOST_ROWS,
        )
        out.writelines(line + "\n" for line in lines)
    return Exit.NOT_ALL_ACCEPTED if told.left_over else Exit.WELL


def _person_s(text: str) -> float:
    try:
        return length_s(text)
    except Unreadable as error:
        raise AskedError(
            Problem(
                code="bad-time",
                what=f"--person {text!r}: {error.what}",
                do=error.do or "write --person '10 min'",
            )
        ) from None


def _zone(plan: Plan) -> tzinfo | None:
    """Return the zone of the plan's night; None: this machine's own."""
    return zone_named(zone_of_hours(plan))


def _start(text: str | None, plan: Plan, zone: tzinfo | None, *, now: datetime) -> datetime:
    """Return when the rehearsal starts, UTC: as asked, else with the next night, else now."""
    local = now.astimezone(zone).replace(tzinfo=None)
    if text is None:
        if plan.night is None:
            return now
        return _instant(_next_night(local, plan.night.start_minute, plan.night.days), zone)
    for form in ("%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"):
        try:
            found = datetime.strptime(text.strip(), form)  # noqa: DTZ007 - the zone is the rig's
        except ValueError:
            continue
        if form != "%H:%M":
            return _instant(found, zone)
        at = local.replace(hour=found.hour, minute=found.minute, second=0, microsecond=0)
        return _instant(at if at >= local else at + timedelta(days=1), zone)
    raise AskedError(
        Problem(
            code="bad-time",
            what=f"--from {text!r} is not a time",
            do="write --from 22:30, or --from '2026-11-02 22:30', in the zone of the plan's night, "
            "else of this machine",
        )
    )


def _next_night(local: datetime, start_minute: int, days: tuple[str, ...]) -> datetime:
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    for day in range(8):
        at = midnight + timedelta(days=day, minutes=start_minute)
        if at >= local and (not days or _DAYS[at.weekday()] in days):
            return at
    raise AssertionError("a night has at least one day of the week")


def _instant(local: datetime, zone: tzinfo | None) -> datetime:
    return (local if zone is None else local.replace(tzinfo=zone)).astimezone(UTC)


def _taken(plan: Plan, folder: Path) -> Assumed:
    """Return what is taken for granted, from the earlier runs in the store where there are any."""
    if not folder.is_dir() or not has_records(folder):
        return assumed(plan, earlier=None, heat=())
    with open_history(folder) as history:
        plans = history.plans(rig=platform.node())
        found = earlier(
            plan, ((hash_, text, partial(history.passes, run)) for run, hash_, text in plans)
        )
        names = heated(plan)
        heat: list[HeatSeen] = []
        for run, _, _ in plans[:_LATEST] if names else ():
            heat += history.heat(run, names)
    return assumed(plan, earlier=found, heat=heat)
