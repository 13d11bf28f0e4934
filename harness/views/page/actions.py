"""What a person may ask for on the page, put where the runner reads it.

Touches disk. Nothing is carried out here: a confirmation, a rerun and a stop go into the run's
request table, a release into the rig's own state, a plan of the plans folder to the watch. No
text of a plan and no command can come from here. Who asked is kept with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from harness.errors import AskedError, Problem
from harness.rig.hold import Release
from harness.rig.holds import Holds
from harness.run.records import RequestAnswered, RequestKind
from harness.run.state import Grid
from harness.store.sqlite import open_store
from harness.values import Value
from harness.views.page.desk import Desk
from harness.views.page.tonight import step as open_step

MOST_NOTE = 500  #: characters
MOST_CELLS = 2000  #: in one rerun
MOST_REQUESTS = 1 << 31  #: of a run; whatever number stands in an address, SQLite can hold it


class PlanFile(Value):
    """A plan in the plans folder: the name of its file, which is all that can be asked for."""

    name: str


class QueuedPlan(Value):
    """A plan on the rig's queue: the name of its file, who put it there, and when it runs.

    ``start`` and ``end`` are empty where its own nights say; ``last`` says how its latest
    runner left, empty where none has; ``elsewhere`` whether it is kept in another store than
    the page shows.
    """

    entry: int
    plan: str
    by: str
    at: str
    start: str
    end: str
    last: str
    elsewhere: bool


class Queue(Value):
    """The plans that may be queued, and how.

    Args:
        plans: Gives the plan files there are now.
        put: Queues one, for a person; returns what was done, in words. None: nothing here can.
        queued: Gives what is on the queue, in order. None: no queue is kept here.
    """

    plans: Callable[[], Sequence[PlanFile]]
    put: Callable[[PlanFile, str], str] | None
    queued: Callable[[], Sequence[QueuedPlan]] | None = None

    def entries(self) -> Sequence[QueuedPlan]:
        """Return what is on the queue, in order."""
        return () if self.queued is None else self.queued()


def confirm(desk: Desk, run: str, *, by: str, step: int, attending: bool, note: str = "") -> int:
    """Say that a person's step is done; return the request's number.

    Raises:
        AskedError: another step is open, or none; or nobody stays for the first pass after
            a case was opened.
    """
    line, _, _ = desk.run(run)
    found = open_step(line)
    if found is None or found["step"] != step:
        is_open = "none is" if found is None else f"step {found['step']} is"
        raise _refused("no-open-step", f"step {step} is not open; {is_open}", "look at the run")
    if (found["opens_case"] or found["attend"]) and not attending:
        raise _refused(
            "not-attended",
            "the case was opened: somebody must stay with the rig for the first pass after it",
            "say that you stay with the rig, and confirm then",
        )
    return _put(desk, run, RequestKind.CONFIRM, by=by, note=note, step=step, attending=attending)


def rerun(desk: Desk, run: str, *, by: str, cells: Sequence[str], because: str = "") -> int:
    """Ask for new passes of some cells; return the request's number.

    Raises:
        AskedError: no cell is named, or one that the run does not have.
    """
    grid: Grid = desk.grid(run)
    unknown = [key for key in cells if key not in grid.cells]
    if not cells or unknown or len(cells) > MOST_CELLS:
        what = f"no such cells: {', '.join(unknown[:5])}" if unknown else "no cell is named"
        what = f"more than {MOST_CELLS} cells at once" if len(cells) > MOST_CELLS else what
        raise _refused("nothing-to-rerun", what, "choose cells in the run's grid")
    chosen = tuple(dict.fromkeys(cells))
    return _put(desk, run, RequestKind.RERUN, by=by, note=because, cells=chosen)


def stop(desk: Desk, run: str, *, by: str, note: str = "") -> int:
    """Ask the runner to stop after the pass in progress; return the request's number."""
    line, _, _ = desk.run(run)
    if line.standing.phase in ("finished", "paused", "held"):
        raise _refused(
            "nothing-to-stop", f"the run is {line.standing.phase}", "nothing: it does not run"
        )
    return _put(desk, run, RequestKind.STOP, by=by, note=note)


def release(desk: Desk, hold: str, *, by: str, note: str = "") -> None:
    """Lift a hold of this rig, durably.

    Raises:
        AskedError: no such hold stands.
    """
    holds = Holds(desk.rig)
    if hold not in [each.id for each in holds.standing()]:
        raise _refused("no-such-hold", f"no hold {hold!r} stands", "look at the holds again")
    at = desk.now().isoformat(timespec="seconds")
    holds.release(Release(hold=hold, by=by, note=_note(note), at=at))


def put_plan(queue: Queue, name: str, *, by: str) -> str:
    """Queue a plan of the plans folder, by the name of its file; return what was done.

    Raises:
        AskedError: there is none of that name, or nothing here can queue it.
    """
    found = next((each for each in queue.plans() if each.name == name), None)
    if found is None:
        raise _refused("no-such-plan", f"the plans folder has no {name!r}", "choose one of its")
    if queue.put is None:
        raise _refused("no-queue", "no queue is kept on this rig", "start it: harness run PLAN")
    return queue.put(found, by)


def answer(desk: Desk, run: str, number: int) -> dict[str, Any]:
    """Return what became of a request: granted, refused, or not answered yet.

    Raises:
        AskedError: there is no such request.
    """
    with desk.opened() as store:
        line = store.run(run)
        after = min(number, MOST_REQUESTS) - 1
        asked = next((each for each in store.requests(run, after=after)), None)
        if asked is None or asked.number != number:
            raise _refused("no-such-request", f"run {run} has no request {number}", "look again")
        given: RequestAnswered | None = None
        # An answer is among the last records, or the run has gone on for long since.
        for entry in store.entries(run, after=max(0, line.standing.seq - 500)):
            if isinstance(entry.record, RequestAnswered) and entry.record.request == number:
                given = entry.record
    if given is not None:
        text, accepted = given.answer, given.accepted
    else:
        at_work = desk.owner() is not None
        text = (
            "kept; the runner answers at once, or when the pass in progress is over"
            if at_work
            else "kept; no runner is at work, so the next start of the plan answers"
        )
        accepted = None
    return {
        "schema": "harness.page.request/1",
        "run": run,
        "request": number,
        "kind": asked.kind.value,
        "by": asked.by,
        "accepted": accepted,
        "answer": text,
    }


def plans_in(folder: Path) -> tuple[PlanFile, ...]:
    """Return the plan files in *folder*, by name; none where there is no such folder."""
    if not folder.is_dir():
        return ()
    found = (path for path in folder.iterdir() if path.suffix in (".yaml", ".yml"))
    return tuple(PlanFile(name=path.name) for path in sorted(found) if path.is_file())


def _put(desk: Desk, run: str, kind: RequestKind, *, by: str, note: str, **more: Any) -> int:
    with open_store(desk.store, write=True, check=False) as store:
        return store.put_request(run, kind, by=by, at=desk.now(), note=_note(note), **more)


def _note(text: str) -> str:
    note = " ".join(text.split())
    if len(note) > MOST_NOTE or not note.isprintable():
        raise _refused(
            "bad-note", f"a note is plain text of {MOST_NOTE} characters at most", "shorten it"
        )
    return note


def _refused(code: str, what: str, do: str) -> AskedError:
    return AskedError(Problem(code=code, what=what, do=do))
