"""What a rig's watch keeps of its queue and of the nights it carried out: one event a line.

Pure. Events are in the past tense, frozen, and never taken back; where the queue stands is
their fold (``harness.watch.standing``). Instants are UTC, RFC 3339.
"""

from __future__ import annotations

import enum
import json
from dataclasses import asdict, dataclass, fields
from typing import TypeAlias


class Leaving(enum.Enum):
    """How a runner left. The store's records say so, and the exit status where they cannot."""

    FINISHED = "finished"
    PAUSED = "paused"  #: between passes, at the night's end or because a person said so
    STEP = "step"  #: a person's step is open
    HELD = "held"
    REFUSED = "refused"  #: the rig was not ready, the plan had errors, or nothing could be kept
    STOPPED = "stopped"  #: by the daemon, which was told to leave itself
    GONE = "gone"  #: killed, crashed, or with the machine: a pass may be interrupted
    STUCK = "stuck"  #: showed no sign of going on, and was ended


@dataclass(frozen=True, slots=True, kw_only=True)
class Queued:
    """A plan was put on the queue's end. ``start`` empty: its own nights; ``end`` empty: none.

    ``by`` says who put it there; empty where that was not kept.
    """

    at: str
    entry: int
    plan: str  #: the file, absolute
    store: str  #: the folder, absolute
    folder: str  #: where the plan's commands run
    start: str = ""
    end: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A plan was put before another one; ``before`` 0: at the end."""

    at: str
    entry: int
    before: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Removed:
    """A plan was taken off the queue. What was measured stays."""

    at: str
    entry: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A runner is about to be started: kept before it is.

    ``night`` names the night; together with the entry it is the start's key.
    """

    at: str
    entry: int
    night: str
    planned: str
    late_s: float
    boot: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """The runner of an entry's night is gone."""

    at: str
    entry: int
    night: str
    how: Leaving
    run: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """A night went by without a start. ``nights`` counts it and those before it."""

    at: str
    entry: int
    night: str
    planned: str
    why: str
    nights: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Noticed:
    """Something a person is to be told. ``key`` is its own for ever: it is told once.

    ``run`` and ``seq`` say up to which record of a run was looked; 0: no record. ``store`` is
    that run's, and ``open`` what a person is asked to settle: the number of a step, the name of
    a hold; empty: nothing, or an earlier version did not say.
    """

    at: str
    key: str
    about: str  #: the word of a ``NoticeKind``
    title: str
    body: str
    run: str = ""
    seq: int = 0
    store: str = ""
    open: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A notice was delivered to ``to``; or given up, or it was settled before it could be told."""

    at: str
    key: str
    to: str
    delivered: bool = True


Event: TypeAlias = Queued | Moved | Removed | Started | Left | Missed | Noticed | Told

_KINDS: dict[str, type[Event]] = {
    "queued": Queued,
    "moved": Moved,
    "removed": Removed,
    "started": Started,
    "left": Left,
    "missed": Missed,
    "noticed": Noticed,
    "told": Told,
}
_NAMES = {kind: name for name, kind in _KINDS.items()}


def to_line(event: Event) -> str:
    """Return *event* as one line of JSON, without its end."""
    body = asdict(event)
    if isinstance(event, Left):
        body["how"] = event.how.value
    return json.dumps({"kind": _NAMES[type(event)], **body}, ensure_ascii=False)


def from_line(line: str) -> Event | None:
    """Return the event of a line; None where it is none that this version knows.

    A field that a later version added is left out; one that is missing makes the line unknown.
    """
    try:
        body = json.loads(line)
        kind = _KINDS[body["kind"]]
        known = {field.name: body[field.name] for field in fields(kind) if field.name in body}
        if "how" in known:
            known["how"] = Leaving(known["how"])
        return kind(**known)
    except (ValueError, KeyError, TypeError):
        return None
