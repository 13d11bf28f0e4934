"""Watch over this rig: start what is on its queue in its nights, and tell persons.

One daemon on a rig. It goes on until it is told to stop (SIGTERM, Ctrl-C); a runner at work is
then stopped first, and its pass recorded as interrupted. It starts the page, too, as a process
of its own, and again when that ends; rig.yaml says with which options, or that it shall not.
Leave a rig alone at night only with clear air paths, a smoke alarm, and no modified power path.
"""

from __future__ import annotations

import argparse
import faulthandler
import json
import platform
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TextIO

from harness.errors import Exit
from harness.plan.check import check
from harness.plan.document import Plan
from harness.plan.read import read_plan
from harness.rig.ending import become_subreaper
from harness.rig.process import keep_descriptors
from harness.rig.sensors.outside_settings import outside_sensors
from harness.settings import rig_folder
from harness.watch.daemon import Daemon, Waker
from harness.watch.journal import WatchJournal
from harness.watch.lock import DaemonLock
from harness.watch.log import FILE, open_log
from harness.watch.login_session import login_session
from harness.watch.metrics import serve
from harness.watch.night_watch import NightWatch
from harness.watch.noticing import settled
from harness.watch.page_process import HarnessPage, PageProcess
from harness.watch.ports import Log
from harness.watch.posting import Posting
from harness.watch.reading import PlanFiles, StoreFiles
from harness.watch.runner import ProcessRunners
from harness.watch.service_manager import ServiceManager
from harness.watch.watch_settings import WatchSettings, watch_settings
from harness.watch.watched_rig import WatchedRig
from harness.wiring import vocabulary

SCHEMA = "harness.daemon/1"
_OWN_GROUP = Path("/proc/self/cgroup")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--once", action="store_true", help="leave when nothing more is due, instead of waiting"
    )
    parser.add_argument("--no-page", action="store_true", help="start no page")
    parser.add_argument("--json", action="store_true", help="print one JSON object at the end")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Watch until told to stop."""
    faulthandler.enable()  # a service manager that finds it hung is left a trace of where
    state = rig_folder()
    rig = WatchedRig(state, name=platform.node())
    with DaemonLock(state, plan="", now=rig.now()), ExitStack() as stack:
        settings = watch_settings(state)
        outside_sensors(state)  # refuses now, and not at night, what a runner would refuse
        log = stack.enter_context(open_log(state, out=sys.stderr if args.json else out))
        journal = stack.enter_context(WatchJournal(state))
        options = None if args.once or args.no_page else settings.page_options
        page = _page(state, rig, log, options)
        daemon = stack.enter_context(_daemon(state, rig, journal, log, settings, page))
        _say_where(log, state, journal)
        before = {key: len(starts) for key, starts in journal.standing.starts.items()}
        reason = daemon.carry_on(once=args.once)
        log.info("the watch ends", why=reason)
        if args.json:
            print(json.dumps(_as_json(journal, before, reason), ensure_ascii=False), file=out)
    return Exit.WELL


@contextmanager
def _daemon(
    state: Path,
    rig: WatchedRig,
    journal: WatchJournal,
    log: Log,
    settings: WatchSettings,
    page: PageProcess | None,
) -> Iterator[Daemon]:
    become_subreaper()
    keep_descriptors()
    waker = Waker()
    stores = StoreFiles(platform.node())
    posting = Posting(
        journal,
        settings.recipients,
        log=log,
        now=rig.now,
        steady_s=rig.steady_s,
        settled=partial(settled, stores=stores, rig=rig),
    )

    def strangers() -> tuple[int, ...]:
        return (*posting.process(), *(() if page is None else page.process()))

    watch = NightWatch(
        journal=journal,
        runners=ProcessRunners(state, strangers=strangers),
        plans=PlanFiles(_checked),
        stores=stores,
        rig=rig,
        log=log,
        stuck_s=settings.stuck_s,
    )
    if settings.metrics_port:
        serve(watch, settings.metrics_port)
    with waker.signals():
        try:
            yield Daemon(
                watch=watch,
                posting=posting,
                manager=ServiceManager(),
                waker=waker,
                log=log,
                page=page,
            )
        finally:
            if page is not None:
                page.stop()
    waker.close()


def _page(
    state: Path, rig: WatchedRig, log: Log, options: Sequence[str] | None
) -> PageProcess | None:
    """Return what keeps the page going, which is given *options*; None: it is not wanted."""
    if options is None:
        return None
    return PageProcess(partial(HarnessPage, state, options), log=log, steady_s=rig.steady_s)


def _checked(file: str) -> Plan:
    return check(read_plan(file), vocabulary()).accepted()


def _say_where(log: Log, state: Path, journal: WatchJournal) -> None:
    log.info("watching", rig=platform.node(), queue=len(journal.standing.order), log=state / FILE)
    if journal.unread:
        log.warning("lines of the queue that cannot be read", count=journal.unread)
    session = login_session(_OWN_GROUP.read_text("utf-8") if _OWN_GROUP.exists() else "")
    if session:
        log.warning(
            "this daemon ends with the login",
            scope=session,
            do="harness service install makes it a service of its own",
        )


def _as_json(
    journal: WatchJournal, before: dict[tuple[int, str], int], reason: str
) -> dict[str, object]:
    starts = [
        {
            "entry": entry,
            "plan": journal.standing.queued[entry].plan,
            "night": night,
            "planned": one.started.planned,
            "started": one.started.at,
            "late_s": one.started.late_s,
            "left": one.left.how.value if one.left is not None else None,
            "run": (one.left.run or None) if one.left is not None else None,
            "why": (one.left.why or None) if one.left is not None else None,
        }
        for (entry, night), ones in journal.standing.starts.items()
        for one in ones[before.get((entry, night), 0) :]
    ]
    return {"schema": SCHEMA, "reason": reason, "starts": starts}
