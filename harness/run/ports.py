"""What the loop needs from outside: a bench, a journal, a clock, a meter.

Pure. Each port has a shipped fake: the rehearsed bench and clock in
``harness.rig.rehearsed``, the memory journal in ``harness.store.memory``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from harness.plan.document import Command, Title
from harness.rig.crossings import WaitEnd, WaitWatch
from harness.rig.readings import Reading
from harness.rig.tasks import (
    CommandEnd,
    Hold,
    Leftovers,
    LevelReport,
    LevelTask,
    Member,
    PassReport,
    PassTask,
    Release,
)
from harness.rules.judgement import Measured
from harness.run.records import BundleRef, Record, Request

#: Asked once a second while the bench waits; true breaks the wait off.
Interrupt = Callable[[], bool]

#: Reads the captures and the output of one pass.
Meter = Callable[[PassTask, PassReport], Measured]


class Clock(Protocol):
    """Time. ``steady_s`` never goes back and counts suspend where the system can."""

    def now(self) -> datetime:
        """Return the instant, aware, UTC."""

    def local_minute(self, zone: str = "") -> int:
        """Return the minute of the local day in *zone*, 0 to 1439; empty: the rig's own zone.

        Raises:
            AskedError: this system knows no such zone.
        """

    def steady_s(self) -> float:
        """Return seconds on the steady clock."""

    def suspended_s(self) -> float:
        """Return how long the machine was suspended since it was started; 0 where unknown."""

    def wait(self, seconds: float, interrupt: Interrupt) -> bool:
        """Wait; return False if *interrupt* broke it off."""


class Bench(Protocol):
    """The rig as one object. It touches the machine and judges nothing."""

    def recover(self, run: str) -> Leftovers:
        """End what an earlier runner left running; return what it left. Called once, first."""

    def holds(self) -> tuple[Hold, ...]:
        """Return the holds that stand on this rig, whoever made them."""

    def releases(self) -> tuple[Release, ...]:
        """Return every release on this rig, oldest first."""

    def hold(self, hold: Hold) -> None:
        """Make a hold stand, durably; holding twice under one id is one hold."""

    def release(self, release: Release) -> None:
        """Lift one hold, durably; releasing twice is one release."""

    def fingerprint(self, title: Title | None, *, full: bool) -> Mapping[str, str]:
        """Return the fields that identify the rig's state, and *title*'s build.

        Only what can change between two passes, unless *full*. A field that cannot be
        read is left out. The build of a title is the field ``title.build NAME``.
        """

    def unread(self) -> Mapping[str, str]:
        """Return the fields that could not be read when last looked at, and why."""

    def set_level(self, task: LevelTask) -> LevelReport:
        """Bring a level about and read what it is expected to change."""

    def read(self, names: Sequence[str]) -> tuple[Reading, ...]:
        """Return one reading of each name, in that order."""

    def wait(self, watch: WaitWatch, interrupt: Interrupt) -> WaitEnd:
        """Feed *watch* until it answers or *interrupt* is true."""

    def carry_out(self, task: PassTask, stop: Interrupt) -> PassReport:
        """Carry out one pass, to the proof that nothing of it is left running."""

    def run(self, command: Command) -> CommandEnd:
        """Run one plain command (a put_back) to its end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A record as the journal keeps it. ``seq`` counts from 1 within the run."""

    seq: int
    at: datetime
    boot: str
    record: Record


class Journal(Protocol):
    """One run's records: appended, never changed, never deleted."""

    def entries(self) -> tuple[Entry, ...]:
        """Return every entry, in order."""

    def last_at(self) -> datetime | None:
        """Return the instant of the last entry, without reading them all; None: there is none."""

    def append(self, records: Sequence[Record], *, at: datetime, boot: str) -> None:
        """Keep the records, all or none, durably, before returning."""

    def keep(self, name: str, members: Sequence[Member]) -> BundleRef:
        """Keep the files of one attempt, byte for byte, durably, before returning.

        Keeping an attempt again makes a second bundle and never replaces one, unless the
        first holds the very same files and no record has named it yet: a runner that died
        before it could is made good by the next, and the files are not doubled.
        """

    def requests(self, after: int) -> tuple[Request, ...]:
        """Return the requests put after the one numbered *after*, in order."""

    def rest(self) -> None:
        """Do what may be done between passes (a checkpoint of the database)."""
