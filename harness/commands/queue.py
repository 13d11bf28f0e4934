"""Put a plan on this rig's queue for the daemon, show the queue, reorder it, take plans off.

Without --at a plan runs in its own nights; with it, from that time on. Plans that may run at
the same time are started in the queue's order, one after the other.
"""

from __future__ import annotations

import argparse
import json
import platform
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.plan.check import check
from harness.plan.instants import instant_of
from harness.plan.read import read_plan
from harness.rig.at_terminal import login_name
from harness.rig.clock import MachineClock, zone_named
from harness.rig.locks import Owner, runner_at_work
from harness.settings import rig_folder, store_folder
from harness.watch import events as e
from harness.watch.due import Hours, Opening, begun, next_starts
from harness.watch.journal import WatchJournal
from harness.watch.lock import daemon_at_work, wake_daemon
from harness.watch.ports import PlanFacts
from harness.watch.reading import PlanFiles
from harness.watch.runner import carries_out
from harness.watch.standing import Standing
from harness.watch.watched_rig import WatchedRig
from harness.wiring import vocabulary

SCHEMA = "harness.queue/1"
_MOST_STARTS = 3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", nargs="?", help="the plan file to put on it")
    parser.add_argument("--at", metavar="WHEN", help='from then on: "now", "22:30", a day and time')
    parser.add_argument("--until", metavar="WHEN", help="with --at: begin no pass that ends later")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--by", metavar="NAME", help="who asks (default: the login name)")
    parser.add_argument("--list", action="store_true", help="show the queue (also without a PLAN)")
    parser.add_argument("--remove", metavar="ENTRY", type=int, help="take this one off the queue")
    parser.add_argument("--move", metavar="ENTRY", type=int, help="put this one elsewhere")
    parser.add_argument("--before", metavar="ENTRY", type=int, help="before this one; else last")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Change the queue, and show it."""
    asked = [args.plan is not None, args.remove is not None, args.move is not None, args.list]
    if sum(asked) > 1:
        raise _asked("one-at-a-time", "a PLAN, --remove, --move and --list are one at a time")
    if args.plan is None and (args.at or args.until or args.store or args.by is not None):
        raise _asked("no-plan", "--at, --until, --store and --by are of a PLAN: none is given")
    if args.before is not None and args.plan is None and args.move is None:
        raise _asked("no-plan", "--before is of a PLAN or of --move, and none is given")
    now = MachineClock().now()
    added = None if args.plan is None else _entry(args, now)
    with WatchJournal(rig_folder()) as journal:
        with journal.writing() as standing:
            changes = _changes(args, standing, added, now)
            if changes:
                journal.append(*changes)
        if changes:
            wake_daemon(rig_folder())
        _show(journal.standing, args, out, now)
    return Exit.WELL


def _changes(
    args: argparse.Namespace, standing: Standing, added: e.Queued | None, now: datetime
) -> list[e.Event]:
    at = now.isoformat()
    for number in (args.remove, args.move, args.before):
        if number is not None and number not in standing.order:
            there = ", ".join(map(str, standing.order)) or "none"
            what = f"no plan of the queue has the number {number}"
            raise _asked("no-such-entry", what, f"write one of its numbers: {there}")
    if added is not None:
        for each in standing.entries:
            if (each.plan, each.store) == (added.plan, added.store):
                raise _asked(
                    "queued-already",
                    f"the plan is on the queue already, as number {each.entry}",
                    f"take that one off first, to change when it runs: --remove {each.entry}",
                )
        numbered = replace(added, at=at, entry=standing.next_entry)
        place: list[e.Event] = []
        if args.before is not None:
            place.append(e.Moved(at=at, entry=numbered.entry, before=args.before))
        return [numbered, *place]
    if args.remove is not None:
        return [e.Removed(at=at, entry=args.remove)]
    if args.move is not None:
        return [e.Moved(at=at, entry=args.move, before=args.before or 0)]
    return []


def _entry(args: argparse.Namespace, now: datetime) -> e.Queued:
    """Return what is asked to be put on the queue, not numbered yet; refuse what cannot run.

    Raises:
        PlanError: the plan has errors.
        AskedError: it may not run unattended, or it is not said when it is to run.
    """
    plan = check(read_plan(args.plan), vocabulary()).accepted()
    if plan.limits_none:
        raise _asked(
            "attended-only",
            "the plan says limits: none, which is for attended runs only",
            "write limits, or carry it out with somebody there: harness run",
        )
    if plan.night is not None:
        zone_named(plan.night.zone)  # no entry is kept that no daemon of this rig can time
    if plan.night is None and args.at is None:
        raise _asked(
            "no-time",
            "the plan names no night, and --at does not say when it is to run",
            'write a night into the plan, or --at "22:30", or --at now',
        )
    if args.until and not args.at:
        raise _asked("no-time", "--until is with --at only: a plan's night has its own end")
    start = instant_of(args.at, now=now, option="--at") if args.at else None
    end = instant_of(args.until, now=start or now, option="--until") if args.until else None
    if start is not None and start < now - timedelta(minutes=1):
        raise _asked("bad-time", f"--at lies in the past: {args.at}", "write --at now")
    if start is not None and end is not None and end <= start:
        raise _asked("bad-time", "--until is not after --at")
    return e.Queued(
        at=now.isoformat(),
        entry=0,
        plan=str(Path(args.plan).absolute()),
        store=str(store_folder(args.store).absolute()),
        folder=str(Path.cwd()),
        start=start.isoformat() if start is not None else "",
        end=end.isoformat() if end is not None else "",
        by=_name(args.by),
    )


def _name(given: str | None) -> str:
    """Return who asks; empty where neither they nor the system say so."""
    if given is None:
        return login_name()
    name = " ".join(given.split())
    if not name or not name.isprintable():
        raise _asked("bad-name", "--by names nobody", "write a name")
    return name


def _asked(code: str, what: str, do: str = "harness queue --help says how") -> AskedError:
    return AskedError(Problem(code=code, what=what, do=do))


def _show(standing: Standing, args: argparse.Namespace, out: TextIO, now: datetime) -> None:
    plans = PlanFiles(lambda file: check(read_plan(file), vocabulary()).accepted())
    facts = {entry.entry: plans.facts(entry.plan) for entry in standing.entries}
    hours = {n: each.hours for n, each in facts.items() if isinstance(each, PlanFacts)}
    daemon = daemon_at_work(rig_folder())
    owner = runner_at_work(rig_folder()) if rig_folder().exists() else None
    at_work = _at_work(standing, owner)
    starts = _starts(standing, hours, now, owner, at_work)
    rows: list[dict[str, object]] = []
    for entry in standing.entries:
        fact, left = facts[entry.entry], standing.last_left(entry.entry)
        rows.append(
            {
                "entry": entry.entry,
                "plan": entry.plan,
                "store": entry.store,
                "queued_at": entry.at,
                "by": entry.by or None,
                "start": entry.start or None,
                "end": entry.end or None,
                "problem": fact if isinstance(fact, str) else None,
                "at_work": at_work is not None and at_work[0] == entry.entry,
                "last": None if left is None else left.how.value,
                "why": None if left is None else left.why or None,
                "run": standing.runs.get(entry.entry),
                "missed": standing.last_missed(entry.entry),
            }
        )
    if args.json:
        shown = {
            "schema": SCHEMA,
            "daemon": daemon.pid if daemon is not None else None,
            "entries": rows,
            "next_starts": [
                {
                    "entry": opening.entry.entry,
                    "at": opening.start.isoformat(),
                    "now": opening.start <= now,
                    "waits": waits or None,
                }
                for opening, waits in starts
            ],
        }
        print(json.dumps(shown, ensure_ascii=False), file=out)
        return
    for row in rows:
        when = f"from {_local(str(row['start']))}" if row["start"] else "in its nights"
        until = f" until {_local(str(row['end']))}" if row["end"] else ""
        by = f", asked by {row['by']}" if row["by"] else ""
        print(f"{row['entry']:>4}  {row['plan']}  {when}{until}{by}", file=out)
        print(f"      store {row['store']}", file=out)
        if row["problem"]:
            print(f"      cannot be started: {row['problem']}", file=out)
        if row["at_work"]:
            print("      its runner is at work", file=out)
        if row["missed"]:
            print(f"      missed: the start on {_local(str(row['missed']))}", file=out)
        if row["last"]:
            why = f": {row['why']}" if row["why"] else ""
            print(f"      last: {row['last']}{why}", file=out)
    if not rows:
        print("nothing is queued: harness queue PLAN", file=out)
    for opening, waits in starts:
        print(f"next start: {_when(opening, waits, daemon, now)}, {opening.entry.plan}", file=out)
    if rows and daemon is None:
        print("no daemon watches this rig, so nothing is started: harness daemon", file=out)


def _at_work(standing: Standing, owner: Owner | None) -> tuple[int, str] | None:
    """Return the entry and the night of the start whose runner has the rig; None: there is none."""
    if owner is None or standing.open_start is None:
        return None
    started = standing.open_start.started
    its = carries_out(owner, standing.queued[started.entry])
    return (started.entry, started.night) if its else None


def _starts(
    standing: Standing,
    hours: Mapping[int, Hours],
    now: datetime,
    owner: Owner | None,
    at_work: tuple[int, str] | None,
) -> list[tuple[Opening, str]]:
    """Return the next starts, with why one whose time has come is not made; those first.

    *owner* is the runner that has the rig, *at_work* what it was started for; None: there is
    none.
    """
    busy = f"the runner of {owner.plan or 'another plan'} is at work" if owner is not None else ""
    holds = WatchedRig(rig_folder(), name=platform.node()).holds()
    open_now = begun(standing, hours, now, busy=busy, holds=holds, at_work=at_work)
    coming = next_starts(standing.entries, hours, now, most=_MOST_STARTS)
    all_ = [(x.opening, x.waits) for x in open_now] + [(x, "") for x in coming]
    return all_[:_MOST_STARTS]


def _when(opening: Opening, waits: str, daemon: Owner | None, now: datetime) -> str:
    if waits:
        return f"as soon as that is over: {waits}"
    if opening.start <= now:
        return "now" if daemon is not None else "now, as soon as a daemon watches this rig"
    local = f"{opening.start.astimezone():%a %Y-%m-%d %H:%M %Z}"
    return f"{local} ({opening.start:%Y-%m-%d %H:%M} UTC)"


def _local(instant: str) -> str:
    return f"{datetime.fromisoformat(instant).astimezone():%a %Y-%m-%d %H:%M}"
