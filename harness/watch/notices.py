"""What a person is told of a night: done, held, a person is needed, failed cells, trouble.

Pure. A notice is made from what is kept - a record of a run, or an event of the watch - and has
its key from that, so that it is made once.
"""

from __future__ import annotations

import enum
import json
import shlex
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from harness.views.safety import confirm_hint, step_lines
from harness.watch import events as e


class NoticeKind(enum.Enum):
    """What a notice is about; a person chooses by these words."""

    DONE = "done"
    HELD = "held"
    PERSON = "person"
    FAILED = "failed"
    TROUBLE = "trouble"


#: What is told where nothing is chosen: failures only if chosen.
USUAL = (NoticeKind.DONE, NoticeKind.HELD, NoticeKind.PERSON, NoticeKind.TROUBLE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One thing to tell. ``seq`` is the record of ``run`` that it was made from; 0: none."""

    key: str
    kind: NoticeKind
    title: str
    body: str
    run: str = ""
    seq: int = 0
    store: str = ""  #: that the run is kept in
    open: str = ""  #: the step or the hold that a person is asked to settle

    def as_event(self, at: str) -> e.Noticed:
        """Return the event that says it is to be told."""
        return e.Noticed(
            at=at,
            key=self.key,
            about=self.kind.value,
            title=self.title,
            body=self.body,
            run=self.run,
            seq=self.seq,
            store=self.store,
            open=self.open,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A record as the store keeps it: its number, kind and body."""

    seq: int
    kind: str
    body: str


#: The kinds of record that a notice can come from: all others need not be read.
SPEAKING = frozenset({"step-asked", "rig-held", "run-finished", "cell-closed"})


def of_records(run: str, records: Iterable[Kept], *, rig: str, store: str) -> Iterator[Notice]:
    """Yield the notices of *records* of *run*, in order; failed cells as one, at the end."""
    failed: list[tuple[int, str, str]] = []
    for record in records:
        if record.kind not in SPEAKING:
            continue
        body: Mapping[str, Any] = json.loads(record.body)
        key, seq = f"{run}#{record.seq}", record.seq
        match record.kind:
            case "step-asked":
                opens, attend = body["opens_case"], body.get("attend", False)
                lines = step_lines(
                    tuple(body["say"]),
                    opens_case=opens,
                    reboot=body["reboot"],
                    attend=attend,
                    reopens=body.get("reopens", False),
                )
                hint = confirm_hint(
                    step=body["step"], run=run, store=store, attending=opens or attend
                )
                text = "\n".join([*lines, "", hint])
                title = f"{rig}: a person is needed for step {body['step']} of {run}"
                made = _notice(key, NoticeKind.PERSON, title, text, run, seq)
                yield replace(made, store=store, open=str(body["step"]))
            case "rig-held":
                hint = f"{body['do']}. Then: harness release {body['hold']} --by YOUR-NAME"
                title = f"{rig} is held"
                text = f"{body['reason']}\n{hint}\nRun {run}"
                made = _notice(key, NoticeKind.HELD, title, text, run, seq)
                yield replace(made, store=store, open=body["hold"])
            case "run-finished":
                counts = ", ".join(f"{body[x]} {x}" for x in ("accepted", "short", "failed"))
                title = f"{rig}: {run} is done"
                text = f"Cells: {counts}.\n{_results(run, store)}"
                yield _notice(key, NoticeKind.DONE, title, text, run, seq)
            case _ if body["state"] == "failed":
                failed.append((seq, body["cell"], body["reason"]))
    if failed:
        title = f"{rig}: {len(failed)} failed {'cell' if len(failed) == 1 else 'cells'} in {run}"
        cells = [f"{cell}: {reason}" for _, cell, reason in failed[:20]]
        more = [f"and {len(failed) - 20} more"] if len(failed) > 20 else []
        key = f"{run}#{failed[-1][0]}"
        text = "\n".join([*cells, *more, _results(run, store)])
        yield _notice(key, NoticeKind.FAILED, title, text, run, failed[-1][0])


def of_event(event: e.Event, *, rig: str, plan: str) -> Notice | None:
    """Return the notice of an event of the watch itself; None: it needs none."""
    match event:
        case e.Missed():
            before = f", the last of {event.nights}" if event.nights > 1 else ""
            title = f"{rig}: {plan} was not started"
            text = f"It was to start at {event.planned}{before}: {event.why}."
            return _notice(f"missed {event.entry} {event.night}", NoticeKind.TROUBLE, title, text)
        case e.Left(how=e.Leaving.REFUSED | e.Leaving.GONE | e.Leaving.STUCK):
            words = {
                e.Leaving.REFUSED: "could not be carried out",
                e.Leaving.GONE: "lost its runner",
                e.Leaving.STUCK: "was stuck, and was ended",
            }
            title = f"{rig}: {plan} {words[event.how]}"
            key = f"left {event.entry} {event.night} {event.at}"
            return _notice(key, NoticeKind.TROUBLE, title, event.why or "See harness status.")
        case _:
            return None


def _results(run: str, store: str) -> str:
    """Return the command that shows *run*, whole: it is pasted where nothing is known of it."""
    return f"harness results --run {run} --store {shlex.quote(store)}"


def _notice(
    key: str, kind: NoticeKind, title: str, body: str, run: str = "", seq: int = 0
) -> Notice:
    return Notice(key=key, kind=kind, title=title, body=body, run=run, seq=seq)
