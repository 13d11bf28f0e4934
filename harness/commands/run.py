"""Carry a plan out in the foreground, or go on with it where it was left.

Progress is shown live in a terminal and as plain lines elsewhere. Ctrl-C ends the pass in
progress, records it as interrupted and leaves; the same command goes on.
"""

from __future__ import annotations

import argparse
import platform
import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TextIO

from harness import __version__
from harness.errors import AskedError, Exit, Place, PlanError, Problem, RigError, render
from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.rig.readings import Reading
from harness.rig.stop import StopFlag
from harness.rules.meter import measure
from harness.run import records as r
from harness.run.apply import fold
from harness.run.instructions import Outcome
from harness.run.loop import Loop
from harness.run.ports import Bench
from harness.run.ready import not_ready, relied_on
from harness.run.state import RunState, begin
from harness.settings import store_folder
from harness.store.sqlite import Store, open_store
from harness.store.standing import RunLine
from harness.wiring import rig_in_hand, run_view, vocabulary


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", help="the plan file")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--again", action="store_true", help="start another run of the plan")
    parser.add_argument("--plain", action="store_true", help="plain lines, also in a terminal")
    parser.add_argument("--json", action="store_true", help="print the outcome as JSON at the end")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Carry the plan out; return how it ended."""
    plan, text = _read(args.plan)
    folder = store_folder(args.store)
    flag = StopFlag()
    live = out.isatty() and not args.plain and not args.json
    with open_store(folder, write=True) as store:
        line = _unfinished(store, plan, text, file=args.plan, again=args.again)
        if isinstance(line, RunLine) and line.standing.phase == "finished":
            return _say_finished(line, args, out)
        with _signals(flag), rig_in_hand(
            plan=args.plan, work=folder / "work", flag=flag
        ) as rig:
            _refuse_if_held(rig.bench)
            _refuse_if_not_ready(rig.bench, plan, file=args.plan)
            now = rig.clock.now
            run_id = line.run if line is not None else _new_run(store, plan, text, args, now())
            journal = store.journal(run_id)
            view = run_view(out, live=live, now=now, steady_s=rig.clock.steady_s)
            rig.bench.on_sample = view.sampled
            state = fold(begin(plan), (entry.record for entry in journal.entries()))
            loop = Loop(
                state=state,
                bench=rig.bench,
                journal=journal,
                clock=rig.clock,
                meter=measure,
                boot=rig.boot,
                stop=flag,
                onlooker=view,
            )
            try:
                outcome = loop.carry_on()
            finally:
                view.close()
        return _say(outcome, state, args, folder, out)
