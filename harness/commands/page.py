"""The page for the morning: what runs, the grid, every pass over time, comparisons, requests.

It is a process of its own, reads the store, and works with no runner at work. Open it at the
address that is printed. To look needs nothing on this machine; to act needs the token, which is
printed too, and a name, which is kept with what is asked. With --host it can be reached from
outside: then the token is needed to look as well, and TLS, from files or from a proxy in front.

  harness page
  harness page --host 192.0.2.7 --tls-certificate rig-7.pem --tls-key rig-7.key
"""

from __future__ import annotations

import argparse
import io
import json
import os
import platform
import sys
from collections.abc import Mapping, Sequence
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any, TextIO

from harness.errors import AskedError, Exit, Problem
from harness.rig.clock import MachineClock
from harness.settings import daemon_of_page, rig_folder, store_folder

TYPE_CHECKING = False  # as typing has it: the page's parts are imported when it is started
if TYPE_CHECKING:
    from harness.views.page.actions import PlanFile, QueuedPlan

SCHEMA = "harness.page/1"
PORT = 8017
TOKEN_FILE = "page-token"
_ARENA_MAX = -8  #: of malloc.h


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--host", default="127.0.0.1", help="default: this machine alone")
    parser.add_argument(
        "--port", type=int, default=PORT, help=f"default: {PORT}; 0: one that is free"
    )
    parser.add_argument(
        "--name", metavar="NAME", action="append", default=[],
        help="a name under which the page is reached; may be repeated",
    )  # fmt: skip
    parser.add_argument("--tls-certificate", metavar="FILE", help="PEM, with --tls-key")
    parser.add_argument("--tls-key", metavar="FILE", help="PEM, with --tls-certificate")
    parser.add_argument(
        "--behind-proxy", action="store_true", help="a proxy in front speaks TLS, under --name"
    )
    parser.add_argument(
        "--token-file", metavar="FILE", help="default: kept in the folder of the rig's own state"
    )
    parser.add_argument(
        "--plans", metavar="FOLDER", default="plans", help="plans that may be queued"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object at the start")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Serve until a signal ends it."""
    _refuse_without_parts()
    _one_heap()
    from harness.views.page.server import listening, make_server

    if (args.tls_certificate is None) != (args.tls_key is None):
        raise AskedError(
            Problem(
                code="half-of-tls",
                what="TLS needs a certificate and its key",
                do="give both --tls-certificate and --tls-key",
            )
        )
    tls = None
    if args.tls_certificate is not None:
        from harness.views.page.tls import tls_of

        tls = tls_of(args.tls_certificate, args.tls_key)
    daemon = daemon_of_page()
    if daemon is not None and not _ends_with(daemon):
        return Exit.WELL
    bound = listening(args.host, args.port)
    with bound:
        port = bound.getsockname()[1]
        app, door, token = _app(args, port)
        server = make_server(app, tls=tls)
        _say(_address(args, door.scheme, port), token, out, as_json=args.json)
        server.run(sockets=[bound])
    return Exit.WELL


def _ends_with(daemon: int) -> bool:
    """Let this page end with the daemon that started it; return whether that is there yet."""
    from harness.rig.ending import end_with

    return end_with(daemon)


def _address(args: argparse.Namespace, scheme: str, port: int) -> str:
    """Return where a person opens the page."""
    from harness.views.page.door import is_everywhere

    if args.behind_proxy:
        return f"{scheme}://{args.name[0]}/"
    host = str(args.name[0] if is_everywhere(args.host) else args.host).strip("[]")
    return f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"


def _say(address: str, token: str, out: TextIO, *, as_json: bool) -> None:
    if as_json:
        shown = {"schema": SCHEMA, "address": address, "token": token, "pid": os.getpid()}
        print(json.dumps(shown), file=out, flush=True)
        return
    print(f"the page is at {address}", file=out)
    print(f"to act there:  {address}session#token={token}", file=out)
    print("Ctrl-C ends it", file=out, flush=True)


def _app(args: argparse.Namespace, port: int) -> tuple[Any, Any, str]:
    """Return the page, its door and its token: the one place where its parts are joined."""
    from harness.views.page.actions import Queue, plans_in
    from harness.views.page.ahead import Ahead
    from harness.views.page.app import make_app
    from harness.views.page.desk import Desk
    from harness.views.page.door import door
    from harness.views.page.page import Page
    from harness.views.page.visitors import Visitors, kept_token

    way = door(
        host=args.host,
        port=port,
        names=tuple(args.name),
        tls=args.tls_certificate is not None,
        proxy=args.behind_proxy,
    )
    rig, clock = rig_folder(), MachineClock()
    file = Path(args.token_file) if args.token_file else rig / TOKEN_FILE
    token = kept_token(file)
    store, plans = store_folder(args.store).absolute(), Path(args.plans).absolute()
    desk = Desk(
        store=store,
        rig=rig,
        node=platform.node(),
        now=clock.now,
        ask=asked,
    )
    page = Page(
        desk=desk,
        ahead=Ahead(desk),
        door=way,
        visitors=Visitors(token),
        queue=Queue(
            plans=partial(plans_in, plans),
            put=partial(queued, plans, store),
            queued=partial(on_queue, rig, store),
        ),
        steady_s=clock.steady_s,
    )
    return make_app(page), way, token


def queued(plans: Path, store: Path, plan: PlanFile, by: str) -> str:
    """Put a plan of the folder *plans* on this rig's queue; return what was done, in words.

    Raises:
        HarnessError: what ``harness queue`` would say.
    """
    path = str(plans / plan.name)
    found = asked("queue", [f"--store={store}", f"--by={by}", path])
    number = next(each["entry"] for each in found["entries"] if each["plan"] == path)
    first = next((each for each in found["next_starts"] if each["entry"] == number), None)
    start = "" if first is None else f"; next start {_when(first)}"
    idle = "" if found["daemon"] else "; no daemon watches this rig: harness daemon"
    return f"{plan.name} is on the queue as number {number}{start}{idle}"


def _when(start: Mapping[str, Any]) -> str:
    if start["waits"]:
        return f"as soon as that is over: {start['waits']}"
    return "now" if start["now"] else f"{start['at'][:10]} {start['at'][11:16]} UTC"


def _one_heap() -> None:
    """Let all threads share one heap where the C library lets us: mallopt(3), M_ARENA_MAX.

    Answers are worked out in threads that come and go. With a heap for each, what a large
    answer took once stays with its thread: a run of 200 cells left 10 MB more (scripts/soak).
    """
    if sys.platform != "linux":
        return
    import ctypes

    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)  # not every C library has it
    if mallopt is not None:
        mallopt(_ARENA_MAX, 1)


def on_queue(rig: Path, store: Path) -> tuple[QueuedPlan, ...]:
    """Return what is on the queue of the rig whose own state is in *rig*; *store* is the page's.

    No plan is read for it: it may be asked in the middle of a pass.
    """
    from harness.views.page.actions import QueuedPlan
    from harness.watch.journal import FILE, WatchJournal

    if not (rig / FILE).exists():
        return ()
    with WatchJournal(rig) as journal:
        standing = journal.standing
    return tuple(
        QueuedPlan(
            entry=each.entry,
            plan=Path(each.plan).name,
            by=each.by,
            at=each.at,
            start=each.start,
            end=each.end,
            last=left.how.value if (left := standing.last_left(each.entry)) else "",
            elsewhere=Path(each.store) != store,
        )
        for each in standing.entries
    )


def asked(command: str, arguments: Sequence[str]) -> Mapping[str, Any]:
    """Return the object that ``harness COMMAND … --json`` prints, without another process.

    Raises:
        HarnessError: what the command would say.
    """
    module = import_module(f"harness.commands.{command}")
    parser = _Parser(prog=f"harness {command}", allow_abbrev=False)
    module.add_arguments(parser)
    printed = io.StringIO()
    module.run(parser.parse_args([*arguments, "--json"]), printed)
    found: Mapping[str, Any] = json.loads(printed.getvalue())
    return found


class _Parser(argparse.ArgumentParser):
    """Raises what it would end the process with."""

    def error(self, message: str) -> Any:
        raise AskedError(
            Problem(code="bad-selection", what=message, do="correct what stands in the address")
        )


def _refuse_without_parts() -> None:
    from importlib.util import find_spec

    missing = [name for name in ("starlette", "uvicorn", "jinja2") if find_spec(name) is None]
    if missing:
        raise AskedError(
            Problem(
                code="extra-needed",
                what=f"the page needs {', '.join(missing)}, which are not installed",
                do="python3 -m pip install 'bench-harness[page]'",
            )
        )
