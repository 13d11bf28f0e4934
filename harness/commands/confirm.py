"""Say that a person's step is done. Whoever did it gives a name; it is kept.

The runner that waits for the step answers within a second or so. With no runner at work the
command itself puts the confirmation on record, and `harness run PLAN` goes on from there. Where
the rig is busy with another run, the confirmation is kept and that start of the plan answers.
"""

from __future__ import annotations

import argparse
import json
import shlex
from pathlib import Path
from typing import TextIO

from harness.errors import AskedError, Exit, Problem, RigError
from harness.rig.clock import MachineClock
from harness.rig.locks import runner_at_work
from harness.run.records import Request, RequestAnswered, RequestKind
from harness.run.requests import ATTEND, STAY_NOW
from harness.settings import rig_folder, store_folder
from harness.store.checkpoints import folded, run_started
from harness.store.sqlite import Store, open_store
from harness.views.safety import FIRST_PASS, confirm_hint
from harness.views.waiting import person_words

_PATIENCE_S = 10.0
#: Said where nobody's word is heard by a runner that could begin the first pass now.
_ASKED_AGAIN = (
    "no runner is at work: start it at a terminal by the rig, or it asks again who is there "
    "before its first pass"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--step", type=int, metavar="N", help="the step's number (default: the open one)"
    )
    parser.add_argument("--by", required=True, metavar="NAME", help="who did it")
    parser.add_argument(
        "--attending",
        action="store_true",
        help="you stay with the rig until its first pass is over; needed after an opened case",
    )
    parser.add_argument("--note", default="", metavar="TEXT", help="anything worth keeping with it")
    parser.add_argument("--run", metavar="RUN", help="the run (default: the one that waits)")
    parser.add_argument("--store", metavar="FOLDER", help="where everything is kept")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Put the confirmation to the run and show the answer."""
    folder = store_folder(args.store)
    clock = MachineClock()
    with open_store(folder, write=True, check=False) as store:
        name = args.run or _waiting(store)
        _refuse_before_hours(store, name)
        step = _open_step(store, name, args, folder)
        earlier = _kept_already(store, name, step)
        if earlier is not None:
            later = f"step {step} is confirmed already, by {earlier.by}: "
            return _show(None, name, args, out, later=later + later_words(store, name, folder))
        number = store.put_request(
            name,
            RequestKind.CONFIRM,
            by=args.by,
            at=clock.now(),
            note=args.note,
            step=step,
            attending=args.attending,
        )
        answer = answered(store, name, number, clock, folder, confirms=True)
        later = "" if answer is not None else later_words(store, name, folder)
    return _show(answer, name, args, out, later=later)


def _refuse_before_hours(store: Store, run: str) -> None:
    """Refuse to confirm what is not asked yet: the run waits for a person's hours.

    Raises:
        AskedError: it does.
    """
    owner = runner_at_work(rig_folder())
    waits = None if owner is None else owner.waits
    if owner is None or not waits or not waits.get("person_from"):
        return
    if owner.carries_out(run, store=store.folder):
        raise AskedError(
            Problem(
                code="no-open-step",
                what="no step is open yet: the run waits for a person's hours",
                where=(f"run {run}: {person_words(waits)}",),
                do="confirm it when it has been asked; to be asked sooner, stop the run and start "
                "it as another (--again) with wider person.hours in its plan",
            )
        )


def _waiting(store: Store) -> str:
    lines = store.runs()
    waiting = [line.run for line in lines if line.standing.phase == "step"]
    if len(waiting) == 1:
        return waiting[0]
    owner = runner_at_work(rig_folder())
    if not waiting and owner is not None and any(line.run == owner.run for line in lines):
        _refuse_before_hours(store, owner.run)
    what = "no run waits for a step" if not waiting else "several runs wait for a step"
    raise AskedError(
        Problem(
            code="no-open-step",
            what=what,
            where=tuple(f"run {name}" for name in waiting),
            do="see `harness status`" + ("; name the run with --run" if waiting else ""),
        )
    )


def _open_step(store: Store, run: str, args: argparse.Namespace, folder: Path) -> int:
    """Return the number of the open step.

    Raises:
        AskedError: no step of *run* is open, or another one than the one that was asked for;
            or it opens the case, and nobody stays.
    """
    standing = store.run(run).standing
    waits = json.loads(standing.waits) if standing.phase == "step" and standing.waits else {}
    number: int | None = waits.get("step")
    asked = args.step
    if number is None or asked not in (None, number):
        open_ = f"it is {standing.phase}" if number is None else f"step {number} is open"
        raise AskedError(
            Problem(
                code="no-open-step",
                what="the run waits for no step" if number is None else f"step {asked} is not open",
                where=(f"run {run}: {open_}",),
                do="see `harness status`",
            )
        )
    if (waits.get("opens_case") or waits.get("attend")) and not args.attending:
        hint = confirm_hint(step=number, run=run, store=str(folder), attending=True)
        raise AskedError(
            Problem(
                code="not-attended",
                what=ATTEND if waits.get("opens_case") else STAY_NOW,
                where=(f"run {run}, step {number}", *FIRST_PASS),
                do=f"stay there, and give: {hint}; or confirm later, when you can: the step stays "
                "open",
            )
        )
    return number


def _kept_already(store: Store, run: str, step: int) -> Request | None:
    """Return the confirmation of the open *step* that nobody has answered yet, or None."""
    waiting = store.requests(run, after=folded(store, run).last_request)
    return next((each for each in waiting if each.step == step), None)


def _answer_now(store: Store, run: str, folder: Path, *, confirms: bool) -> None:
    """Be the run's writer for a moment, under the rig's lock.

    It counts as this run's having had the rig only where that was so before, or where somebody
    confirms now what is so now: what was said earlier may be another run's by then.
    """
    from harness.rig.stop import StopFlag
    from harness.rules.meter import measure
    from harness.run.loop import Loop
    from harness.views.live import View
    from harness.wiring import rig_in_hand

    try:
        with rig_in_hand(
            plan=f"confirming for {run}",
            store=folder,
            flag=StopFlag(),
            view=lambda clock: View(),
            gpu=folded(store, run).plan.rig.gpu,
        ) as rig:
            had = rig.before is not None and rig.before.carries_out(run, store=folder)
            if confirms or had:
                rig.note(run=run, store=folder)
            Loop(
                state=folded(store, run),
                bench=rig.bench,
                journal=store.journal(run),
                clock=rig.clock,
                meter=measure,
                boot=rig.boot,
            ).answer_requests()
    except RigError as error:
        if [problem.code for problem in error.problems] != ["rig-busy"]:
            raise
        # A runner has come up meanwhile.


def answered(
    store: Store, run: str, number: int, clock: MachineClock, folder: Path, *, confirms: bool
) -> RequestAnswered | None:
    """Return the answer; None: nobody gives it now. It is not waited for in vain.

    *confirms* says that what is answered is a person's word that a step is done.
    """
    deadline_s = clock.steady_s() + _PATIENCE_S
    seen = 0
    while True:
        owner = runner_at_work(rig_folder())
        if owner is None:
            _answer_now(store, run, folder, confirms=confirms)
        for entry in store.entries(run, after=seen):
            seen = entry.seq
            if isinstance(entry.record, RequestAnswered) and entry.record.request == number:
                return entry.record
        others = owner is not None and owner.carries_out(run, store=folder) is False
        if others or clock.steady_s() >= deadline_s:
            return None
        clock.pause(0.2)


def later_words(store: Store, run: str, folder: Path) -> str:
    """Say who is going to answer a confirmation that is kept."""
    started = run_started(store, run)
    kept = f"--store {shlex.quote(str(folder))}"
    again = f"answered by the next `harness run {shlex.quote(started.plan_file)} {kept}`"
    owner = runner_at_work(rig_folder())
    if owner is None:
        return f"kept; {again}"
    match owner.carries_out(run, store=folder):
        case True:
            return "kept; its runner answers when what it is about is over"
        case False:
            busy = f"run {owner.run}, store {owner.store} (plan {owner.plan}, process {owner.pid})"
            return f"kept; the rig is busy with {busy}; {again}"
        case None:
            busy = f"plan {owner.plan or 'not known'}, process {owner.pid or 'not known'}"
            return f"kept; the rig is busy ({busy}); if not with this run, {again}"


def _show(
    answer: RequestAnswered | None,
    run: str,
    args: argparse.Namespace,
    out: TextIO,
    *,
    later: str,
) -> Exit:
    if args.json:
        shown = {
            "schema": "harness.confirm/1",
            "run": run,
            "accepted": None if answer is None else answer.accepted,
            "answer": later if answer is None else answer.answer,
        }
        print(json.dumps(shown, ensure_ascii=False), file=out)
    elif answer is None:
        print(f"run {run}: {later}", file=out)
    elif answer.accepted:
        print(f"run {run}: {answer.answer}", file=out)
        if args.attending and runner_at_work(rig_folder()) is None:
            print(_ASKED_AGAIN, file=out)
    else:
        raise AskedError(
            Problem(
                code="not-confirmed",
                what=answer.answer,
                where=(f"run {run}",),
                do="see `harness status`",
            )
        )
    return Exit.WELL if answer is None or answer.accepted else Exit.ASKED_WRONGLY
