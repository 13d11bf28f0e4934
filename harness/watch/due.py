"""What is due: which plan of the queue is to be started now, what was missed, what comes next.

Pure. Read from the queue's standing and the clock alone, so that however often and however
late somebody asks, a night is started once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import islice

from harness.plan.document import Night
from harness.plan.nights import nights
from harness.watch.events import Leaving, Missed, Queued
from harness.watch.standing import OneStart, Standing

#: A runner that was gone or stuck is started again in the same night at most so often.
AGAIN = 3
#: Missed nights are looked for so far back.
_BACK = timedelta(days=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """When a plan may run: its night, and the zone of it; None: only when it is told to."""

    night: Night | None
    zone: tzinfo | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A time in which an entry may run. ``end`` None: until it is done."""

    entry: Queued
    night: str  #: names it: with the entry, the key of its start
    start: datetime
    end: datetime | None

    @property
    def key(self) -> tuple[int, str]:
        """Return the key under which its start is kept."""
        return (self.entry.entry, self.night)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Why the rig is held.

    ``debt_of`` is the run that has yet to put something back, which may itself go on and do so;
    empty: nobody may.
    """

    reason: str
    debt_of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """What is to be done now.

    Args:
        start: Start a runner for this, or None.
        missed: Write these down.
        waits: Why an open entry is not started, by its number.
        wake: When to look again at the latest; None: nothing comes.
    """

    start: Opening | None
    missed: tuple[Missed, ...]
    waits: Mapping[int, str]
    wake: datetime | None


def due(
    standing: Standing,
    hours: Mapping[int, Hours],
    now: datetime,
    *,
    busy: str = "",
    holds: Sequence[Held] = (),
    steps: Mapping[int, str] | None = None,
    runs: Mapping[int, Collection[str]] | None = None,
) -> Due:
    """Return what is due at *now*.

    Args:
        standing: The queue.
        hours: When each entry may run; an entry that is not named cannot be started.
        now: The instant, aware.
        busy: Why nothing can be started now: a runner is at work; empty: none is.
        holds: Why the rig is held; empty: it is not.
        steps: Open steps of a person, by the entry whose run they belong to.
        runs: The runs of each entry's plan, also those that the queue did not start.
    """
    start: Opening | None = None
    waits: dict[int, str] = {}
    missed: list[Missed] = []
    wakes: list[datetime] = []
    for entry in standing.entries:
        if entry.entry not in hours:
            waits[entry.entry] = "its plan cannot be read"
            continue
        missed += _missed(standing, entry, hours[entry.entry], now)
        ahead = list(islice(openings(entry, hours[entry.entry], now), 2))
        wakes += [x.start for x in ahead if x.start > now]
        if not ahead or ahead[0].start > now:
            continue
        if ahead[0].end is not None:
            wakes.append(ahead[0].end)
        why = _not_now(
            standing, ahead[0], busy=busy, holds=holds, steps=steps or {}, runs=runs or {}
        )
        if why:
            waits[entry.entry] = why
        elif start is None:
            start = ahead[0]
        else:
            waits[entry.entry] = f"{start.entry.plan} comes first"
    return Due(start=start, missed=tuple(missed), waits=waits, wake=min(wakes, default=None))


def openings(entry: Queued, hours: Hours, now: datetime) -> Iterator[Opening]:
    """Yield when *entry* may run: what is open at *now* first, then what comes.

    An entry with a time of its own runs from that on to its end, or to the end of the night
    of its plan that this lies in; what is left after that goes on in the plan's next nights.
    """
    night = hours.night
    told = datetime.fromisoformat(entry.start) if entry.start else None
    end: datetime | None = None
    if told is not None:
        end = datetime.fromisoformat(entry.end) if entry.end else None
        if end is None and night is not None:
            this = next(nights(night, told, zone=hours.zone))
            end = this.end if this.start <= told else None
        if end is None or end > now:
            yield Opening(entry=entry, night=f"at {entry.start}", start=told, end=end)
        if end is None:
            return
    if night is None:
        return
    for each in nights(night, now, zone=hours.zone):
        if end is None or each.start >= end:  # a time of its own takes the place of its night
            yield Opening(entry=entry, night=each.day.isoformat(), start=each.start, end=each.end)


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """An opening whose time has come and that is not over for its entry.

    ``waits`` is why no runner is started for it at this moment; empty: a daemon would do so.
    """

    opening: Opening
    waits: str


def begun(
    standing: Standing,
    hours: Mapping[int, Hours],
    now: datetime,
    *,
    busy: str = "",
    holds: Sequence[Held] = (),
    at_work: tuple[int, str] | None = None,
) -> tuple[Begun, ...]:
    """Return what a daemon would begin at *now*, or as soon as it may, in the queue's order.

    Steps of persons are not looked at: they stand in the stores.

    Args:
        standing: As of ``due``, like the next four.
        hours: When each entry may run.
        now: The instant, aware.
        busy: Why nothing can be started now.
        holds: Why the rig is held.
        at_work: The key of the opening whose runner is at work: it has been started, and is
            not started again when that runner is over. None: there is none.
    """
    waits = due(standing, hours, now, busy=busy, holds=holds).waits
    found = []
    for entry in standing.entries:
        ahead = openings(entry, hours[entry.entry], now) if entry.entry in hours else iter(())
        first = next(ahead, None)
        if first is None or first.start > now or first.key == at_work:
            continue
        if _over(standing.starts.get(first.key, [])):
            continue
        found.append(Begun(opening=first, waits=waits.get(entry.entry, "")))
    return tuple(found)


def next_starts(
    entries: Sequence[Queued], hours: Mapping[int, Hours], now: datetime, *, most: int = 3
) -> tuple[Opening, ...]:
    """Return the next *most* starts after *now*, of all entries, in order of time."""
    found: list[Opening] = []
    for entry in entries:
        if entry.entry in hours:
            # One more: the first may be open already.
            ahead = islice(openings(entry, hours[entry.entry], now), most + 1)
            found += [each for each in ahead if each.start > now]
    return tuple(sorted(found, key=lambda each: each.start)[:most])


def _not_now(
    standing: Standing,
    opening: Opening,
    *,
    busy: str,
    holds: Sequence[Held],
    steps: Mapping[int, str],
    runs: Mapping[int, Collection[str]],
) -> str:
    """Return why *opening*, which is open, is not started; empty: it is due."""
    if busy:
        return busy
    own = {standing.runs.get(opening.entry.entry, ""), *runs.get(opening.entry.entry, ())}
    for held in holds:
        if not held.debt_of or held.debt_of not in own:
            return f"the rig is held: {held.reason}"
    for number, step in steps.items():
        # While a person's step is open nothing else is started: a case may be open.
        if number != opening.entry.entry:
            return f"a person's step is open: {step}"
    return _over(standing.starts.get(opening.key, []))


def _over(starts: Sequence[OneStart]) -> str:
    """Return why a night that was started already is not started again; empty: it is."""
    if not starts or starts[-1].left is None:
        return ""  # nobody saw it leave: it goes on
    left = starts[-1].left
    match left.how:
        case Leaving.STOPPED | Leaving.HELD:
            return ""  # the daemon is back, or the hold has been released since
        case Leaving.GONE | Leaving.STUCK:
            lost = [s for s in starts if s.left and s.left.how in (Leaving.GONE, Leaving.STUCK)]
            if len(lost) <= AGAIN:
                return ""
            return f"its runner was lost {len(lost)} times in this night"
        case Leaving.FINISHED:
            return "it is finished"
        case Leaving.PAUSED | Leaving.STEP | Leaving.REFUSED:
            return f"this night is over for it: {left.why or left.how.value}"


def _missed(standing: Standing, entry: Queued, hours: Hours, now: datetime) -> Iterator[Missed]:
    """Yield the latest night that went by without a start, unless that is written down."""
    since = datetime.fromisoformat(entry.at)
    if not entry.start:  # a time of its own is looked for however long it is gone
        since = max(since, now - _BACK)
    gone: list[Opening] = []
    for opening in openings(entry, hours, since):
        if opening.end is None or opening.end > now:
            break
        gone.append(opening)
    lost = [x for x in gone if x.key not in standing.starts]
    if not lost or lost[-1].key in standing.missed:
        return
    after = max((n for n, x in enumerate(lost) if x.key in standing.missed), default=-1)
    others = [
        night
        for (number, night) in standing.starts
        if number != entry.entry and night == lost[-1].night
    ]
    yield Missed(
        at=now.isoformat(),
        entry=entry.entry,
        night=lost[-1].night,
        planned=lost[-1].start.isoformat(),
        why="the night went to another plan of the queue"
        if others
        else "no daemon was running, or the machine was off or asleep, or the rig was not free",
        nights=len(lost) - 1 - after,
    )
