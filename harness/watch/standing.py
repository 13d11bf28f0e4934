"""Where the rig's queue stands: the fold of the watch's events.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import assert_never

from harness.watch import events as e


@dataclass(slots=True, kw_only=True)
class OneStart:
    """A start of an entry in one night. ``left`` None: its runner is, or was, at work."""

    started: e.Started
    left: e.Left | None = None


@dataclass(slots=True, kw_only=True)
class Standing:
    """The queue, what became of its nights, and what persons have been told."""

    #: What is on the queue, in order: by number of the entry.
    order: list[int] = field(default_factory=list)
    queued: dict[int, e.Queued] = field(default_factory=dict)  #: also what is off it
    starts: dict[tuple[int, str], list[OneStart]] = field(default_factory=dict)
    missed: dict[tuple[int, str], e.Missed] = field(default_factory=dict)
    notices: dict[str, e.Noticed] = field(default_factory=dict)
    told: set[tuple[str, str]] = field(default_factory=set)  #: (notice, whom)
    looked: dict[str, int] = field(default_factory=dict)  #: by run: the last record looked at
    runs: dict[int, str] = field(default_factory=dict)  #: by entry: the run that it carries out

    @property
    def entries(self) -> tuple[e.Queued, ...]:
        """Return what is on the queue, in order."""
        return tuple(self.queued[number] for number in self.order)

    @property
    def next_entry(self) -> int:
        """Return the number of the next entry: none is used again."""
        return max(self.queued, default=0) + 1

    @property
    def open_start(self) -> OneStart | None:
        """Return the start whose runner has not left as far as is known; None: there is none."""
        for starts in self.starts.values():
            if starts[-1].left is None:
                return starts[-1]
        return None

    def last_left(self, entry: int) -> e.Left | None:
        """Return how the latest runner of *entry* left; None where none has."""
        found = [s[-1].left for (number, _), s in self.starts.items() if number == entry]
        return next((left for left in reversed(found) if left is not None), None)

    def last_missed(self, entry: int) -> str | None:
        """Return when the latest missed start of *entry* was planned; None: none was missed."""
        found = [each.planned for (number, _), each in self.missed.items() if number == entry]
        return found[-1] if found else None


def fold(events: Iterable[e.Event]) -> Standing:
    """Return where the queue stands after *events*."""
    standing = Standing()
    for event in events:
        apply(standing, event)
    return standing


def apply(standing: Standing, event: e.Event) -> None:
    """Take *event* in. One about an entry that is not there changes nothing."""
    match event:
        case e.Queued(entry=entry):
            if entry not in standing.queued:
                standing.queued[entry] = event
                standing.order.append(entry)
        case e.Moved(entry=entry, before=before):
            if entry in standing.order and before != entry:
                standing.order.remove(entry)
                there = before in standing.order
                place = standing.order.index(before) if there else len(standing.order)
                standing.order.insert(place, entry)
        case e.Removed(entry=entry):
            _off(standing, entry)
        case e.Started(entry=entry, night=night):
            standing.starts.setdefault((entry, night), []).append(OneStart(started=event))
        case e.Left(entry=entry, night=night):
            starts = standing.starts.get((entry, night), [])
            if starts and starts[-1].left is None:
                starts[-1].left = event
            if event.run:
                standing.runs[entry] = event.run
            if event.how is e.Leaving.FINISHED:
                _off(standing, entry)
        case e.Missed(entry=entry, night=night):
            standing.missed[(entry, night)] = event
        case e.Noticed(key=key, run=run, seq=seq):
            standing.notices.setdefault(key, event)
            if run:
                standing.looked[run] = max(seq, standing.looked.get(run, 0))
        case e.Told(key=key, to=to):
            standing.told.add((key, to))
        case _:
            assert_never(event)


def _off(standing: Standing, entry: int) -> None:
    if entry in standing.order:
        standing.order.remove(entry)
