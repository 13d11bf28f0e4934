"""What the watch needs from outside: runners, the plans, the stores, the rig, the alarm.

Pure. Small, owned by ``harness.watch.night_watch``; ``tests/watch/fakes.py`` has a fake of each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from harness.watch.due import Held, Hours, Opening
from harness.watch.events import Queued
from harness.watch.notices import Kept


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFacts:
    """What the watch needs of a plan. ``longest_s`` is the longest time limit in it."""

    name: str
    hash: str
    hours: Hours
    longest_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSeen:
    """Where a run stands, as its store says. ``step`` is the open step in words."""

    run: str
    plan_name: str
    plan_hash: str
    phase: str
    why: str = ""
    step: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One record that a runner tells of."""

    run: str
    kind: str
    cell: str | None = None
    attempt: int | None = None


class Runner(Protocol):
    """A runner at work, started by this daemon or taken over from an earlier one."""

    @property
    def described(self) -> str:
        """Return who it is, in words."""
        ...

    @property
    def tells(self) -> bool:
        """Return whether it tells this daemon what it keeps."""
        ...

    @property
    def run(self) -> str:
        """Return the run it carries out; empty while that is not known."""
        ...

    def descriptors(self) -> tuple[int, ...]:
        """Return what becomes readable when it tells something or ends."""
        ...

    def is_over(self) -> bool:
        """Return whether it has ended."""
        ...

    def lines(self) -> Sequence[Line]:
        """Return what it told since it was last asked; nothing from one that was taken over."""
        ...

    def beat(self) -> int:
        """Return a number that changes while it goes on."""
        ...

    def stop(self) -> None:
        """Ask it to stop; asked again, it is in a hurry."""
        ...

    def end(self) -> int | None:
        """End it and all that it has started; return its exit status, None if it is unknown."""
        ...

    def last_words(self) -> str:
        """Return the last it said on its standard error."""
        ...


class Runners(Protocol):
    """Starts runners on this rig, one at a time."""

    def start(self, opening: Opening) -> Runner:
        """Start a runner for *opening*.

        Raises:
            OSError: the operating system refused.
        """
        ...

    def at_work(self) -> str:
        """Return which runner has the rig, in words; empty: none."""
        ...

    def take_over(self, entry: Queued) -> Runner | None:
        """Return the runner that carries *entry* out; None: it is not at work."""
        ...


class Plans(Protocol):
    """Reads plan files."""

    def facts(self, path: str) -> PlanFacts | str:
        """Return what a plan says, or in words why it cannot be used."""
        ...


class Stores(Protocol):
    """Reads stores."""

    def runs(self, store: str) -> Sequence[RunSeen]:
        """Return the runs of this rig in *store*, the latest first; none where it is not there."""
        ...

    def records(self, store: str, run: str, *, after: int) -> Sequence[Kept]:
        """Return the records of *run* that a notice can come from, after number *after*."""
        ...


class Rig(Protocol):
    """The rig that is watched, and its clocks."""

    @property
    def name(self) -> str:
        """Return its name."""
        ...

    @property
    def boot(self) -> str:
        """Return what tells this start of the machine from every other."""
        ...

    def holds(self) -> Sequence[Held]:
        """Return why it is held; nothing: it is not."""
        ...

    def is_released(self, hold: str) -> bool:
        """Return whether a person has lifted the hold called *hold*."""
        ...

    def now(self) -> datetime:
        """Return the instant, aware."""
        ...

    def steady_s(self) -> float:
        """Return seconds on a clock that goes on while the machine is suspended."""
        ...

    def awake_s(self) -> float:
        """Return seconds on a clock that stands still meanwhile."""
        ...


class Log(Protocol):
    """Where the watch says what it does: ``log.info("started", entry=3)``."""

    def info(self, event: str, **more: object) -> None:
        """Say what went as it should."""
        ...

    def warning(self, event: str, **more: object) -> None:
        """Say what a person should look at."""
        ...
