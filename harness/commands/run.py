"""Carry a plan out in the foreground, or go on with it where it was left.

Progress is shown live in a terminal and as plain lines elsewhere. Ctrl-C ends the pass in
progress, records it as interrupted and leaves; the same command goes on.
"""

from __future__ import annotations

import argparse
import json
import platform
import re
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TextIO, assert_never

from harness import __version__
from harness.errors import AskedError, Exit, PlanError, Problem, RigError, render
from harness.plan.canonical import freeze, plan_hash
from harness.plan.cells import cells
from harness.plan.check import check
from harness.plan.document import Plan
from harness.plan.instants import instant_of
from harness.plan.nights import zone_of_hours
from harness.plan.read import read_plan
from harness.rig.at_terminal import person_at_terminal
from harness.rig.clock import MachineClock, zone_named
from harness.rig.holds import Holds
from harness.rig.stop import StopFlag, signals
from harness.rules.meter import measure
from harness.run import records as r
from harness.run.attendance import attended_only
from harness.run.debts import is_debt
from harness.run.instructions import Outcome
from harness.run.loop import Loop
from harness.run.ports import Bench
from harness.run.ready import THRESHOLD, not_ready, relied_on, speaks_of_no_limits, with_limit
from harness.run.state import RunState, begin
from harness.settings import rig_folder, store_folder, unattended
from harness.store.checkpoints import Checkpointing, folded, run_started
from harness.store.room import refuse_without_room
from harness.store.sqlite import Store, open_store
from harness.store.standing import RunLine
from harness.views.nights import night_line
from harness.views.outcome import as_json, as_text
from harness.wiring import (
    RigInHand,
    earlier_work,
    rig_in_hand,
    run_view,
    sized_by_earlier,
    vocabulary,
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("plan", metavar="PLAN", help="the plan file")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--again", action="store_true", help="start another run of the plan")
    parser.add_argument("--plain", action="store_true", help="plain lines, also in a terminal")
    parser.add_argument("--until", metavar="WHEN", help="begin no pass that is not over by then")
    parser.add_argument("--json", action="store_true", help="print one JSON object at the end")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Carry the plan out; return how it ended."""
    plan = checked(args.plan)
    if plan.limits_none and unattended():
        raise AskedError(attended_only(args.plan))
    folder = store_folder(args.store)
    live = sys.stderr.isatty() and out.isatty() and not (args.plain or args.json)
    shown = sys.stderr if args.json else out
    flag = StopFlag()
    until = args.until and instant_of(args.until, now=MachineClock().now(), option="--until")
    if (night := plan.night) is not None:
        hours = {"start": night.start_minute, "end": night.end_minute}
        print(night_line(**hours, days=night.days, zone=night.zone), file=shown)
    with open_store(folder, write=True) as store:
        known = None if args.again else _known(store, plan, file=args.plan)
        if known is not None and not _wants_more(store, known):
            outcome, state = Outcome.FINISHED, folded(store, known.run)
        else:
            view = partial(run_view, shown, live=live, store=folder)
            hand = partial(rig_in_hand, plan=args.plan, store=folder, flag=flag, view=view)
            with signals(flag), hand(gpu=plan.rig.gpu, until=until) as rig:
                name = None if known is None else known.run
                outcome, state = carry_on(store, rig, plan, args.plan, name, flag)
        if args.json:
            print(json.dumps(as_json(outcome, state), ensure_ascii=False), file=out)
        else:
            kept = str(folder.absolute())
            print(as_text(outcome, state, plan_file=args.plan, store=kept), file=out)
    return status_of(outcome, state)


def carry_on(
    store: Store, rig: RigInHand, plan: Plan, file: str, known: str | None, flag: StopFlag
) -> tuple[Outcome, RunState]:
    """Take the run *known* up, or start one; return how it was left.

    What an earlier runner left running is ended first, whoever's it was. A run that goes on
    puts back what it had changed before it is asked whether the rig is ready for it.
    """
    if plan.person is not None:
        zone_named(zone_of_hours(plan))  # not first found missing when somebody is to be asked
    # A run that is not there yet has left nothing: no run is called "-".
    left = rig.bench.recover(known or "-")
    refuse_if_held(rig.bench, run=known)
    ready = partial(_refuse_if_not_ready, rig.bench, plan, file=file, store=store)
    if known is None:
        ready(known=None)
        known = _start(store, plan, rig, file=file)
    whence = run_started(store, known).limit_from
    if whence is not None:
        sys.stderr.write(f"note: the plan gives no limits; the limit is {whence}\n")
    sys.stderr.write(rig.awake.note() if plan.night is not None else "")
    rig.note(run=known, store=store.folder)
    state = folded(store, known)
    offers: tuple[r.Offer, ...] = ()
    if state.group == 0:  # nothing is measured yet: what is there already may be taken
        earlier = earlier_work(store, plan, rig=platform.node(), now=rig.clock.now())
        offers = earlier.offers
    loop = Loop(
        state=state,
        bench=rig.bench,
        journal=store.journal(known),
        clock=rig.clock,
        meter=measure,
        boot=rig.boot,
        stop=flag,
        stop_reason=lambda: flag.reason,
        onlooker=Checkpointing(rig.view, store, known),
        left=left,
        attended_by=person_at_terminal(),
        sleep=rig.awake.sentence(),
        offers=offers,
        ready=partial(ready, known=known),
        after=_had_it_last(rig, known, store),
    )
    outcome = loop.carry_on()
    rig.tidy()
    return outcome, state


def _had_it_last(rig: RigInHand, run: str, store: Store) -> str:
    """Return the run whose runner had the rig last: *run*, another, or empty: it is not known."""
    before = rig.before
    if before is None:
        return ""
    if before.carries_out(run, store=store.folder):
        return run
    return "" if before.run == run else before.run  # a run of that name in another store


def checked(file: str) -> Plan:
    """Return the plan in *file*; its warnings go to the terminal.

    Raises:
        PlanError: the plan has errors; all of them, in file order.
        AskedError: there is no such file.
    """
    found = check(read_plan(file), vocabulary())
    plan = found.accepted()
    for problem in found.warnings:
        sys.stderr.write(render(problem) + "\n")
    return plan


def status_of(outcome: Outcome, state: RunState) -> Exit:
    """Return the exit status of a runner that left with *outcome*."""
    match outcome:
        case Outcome.FINISHED:
            accepted = state.closed.get(r.CellState.ACCEPTED, 0)
            whole = accepted == len(state.progress)
            return Exit.WELL if whole else Exit.NOT_ALL_ACCEPTED
        case Outcome.HELD:
            return Exit.RIG_NOT_READY
        case Outcome.PAUSED:
            return Exit.STOPPED
        case _:
            assert_never(outcome)


def refuse_if_held(bench: Bench, *, run: str | None) -> None:
    """Refuse to start anything on a held rig.

    What *run* itself has yet to put back does not keep it from doing so.

    Raises:
        RigError: one problem for each hold that stands.
    """
    holds = [each for each in bench.holds() if run is None or not is_debt(each.id, run)]
    if holds:
        raise RigError(
            [
                Problem(
                    code="rig-held",
                    what=f"the rig is held since {hold.at}: {hold.reason}",
                    where=(f"hold {hold.id}, by run {hold.run}",),
                    do=f"{hold.do}. Then: harness release {hold.id} --by YOUR-NAME",
                )
                for hold in holds
            ]
        )


def _refuse_if_not_ready(
    bench: Bench, plan: Plan, *, file: str, store: Store, known: str | None
) -> None:
    names = relied_on(plan)
    readings = dict(zip(names, bench.read(names), strict=True))
    problems = not_ready(plan, readings, file=file)
    if problems:
        raise RigError(problems)
    state = begin(plan) if known is None else folded(store, known)
    refuse_without_room(bench, store.folder, state)


def _known(store: Store, plan: Plan, *, file: str) -> RunLine | None:
    """Return the run of this very plan: the unfinished one, else the latest; None: there is none.

    Raises:
        PlanError: the plan was changed while a run of it is unfinished.
    """
    rig, hash_ = platform.node(), plan_hash(plan)
    lines = [x for x in store.runs() if x.rig == rig and x.plan_name == plan.name]
    same = [line for line in lines if line.plan_hash == hash_]
    unfinished = [line for line in same if line.standing.phase != "finished"]
    if same:
        return (unfinished or same)[0]
    for line in lines:
        if line.standing.phase != "finished":
            raise PlanError(_changed(store, line.run, plan, file=file))
    return None


def _wants_more(store: Store, line: RunLine) -> bool:
    """Return whether a run is unfinished, owes the rig something, or was asked something since."""
    if line.standing.phase != "finished":
        return True
    if any(is_debt(hold.id, line.run) for hold in Holds(rig_folder()).standing()):
        return True  # its runner was killed while it put back
    return bool(store.requests(line.run, after=folded(store, line.run).last_request))


def _changed(store: Store, run: str, plan: Plan, *, file: str) -> Problem:
    from harness.plan.differences import differences

    frozen = folded(store, run).plan
    if run_started(store, run).limit_from is not None and speaks_of_no_limits(plan):
        plan = replace(plan, limits=frozen.limits)  # the rig's own limit is nobody's change
    return Problem(
        code="plan-changed",
        what=f"the plan was changed while run {run} of it is unfinished",
        where=(file, *(f"changed: {text}" for text in differences(frozen, plan))),
        do="undo the change to go on with that run, or start another run of the plan as it is "
        "now with --again; the unfinished run stays as it is",
    )


def _start(store: Store, plan: Plan, rig: RigInHand, *, file: str) -> str:
    """Start a run: freeze the plan, with the rig's own limit where it speaks of none."""
    at = rig.clock.now()
    (threshold,) = rig.bench.read([THRESHOLD])
    bounded, limit_from = with_limit(plan, threshold)
    slug = re.sub(r"[^a-z0-9]+", "-", plan.name.lower()).strip("-")[:40] or "plan"
    name = f"{slug}-{at:%Y%m%d-%H%M%S}"
    taken = {line.run for line in store.runs()}
    while name in taken:
        name += "-again"
    hash_ = plan_hash(plan)
    started = r.RunStarted(
        run=name,
        plan=freeze(bounded),
        plan_hash=hash_,
        plan_file=str(Path(file).absolute()),
        rig=platform.node(),
        harness=__version__,
        limit_from=limit_from,
    )
    store.create_run(
        name,
        plan_name=plan.name,
        plan_hash=hash_,
        rig=platform.node(),
        cells=len(cells(plan)),
        at=at,
        first=[started, *sized_by_earlier(store.folder, bounded, rig=platform.node())],
        boot=rig.boot,
    )
    return name
