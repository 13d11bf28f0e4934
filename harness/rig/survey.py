"""What can be seen of a rig before a night: the port, the values it gives, and a fake.

Pure. Whoever looks judges nothing, changes nothing and starts no command of the plan. What
cannot be seen is not measured, with why; it is neither well nor ill.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Generic, Protocol, TypeVar

from harness.plan.document import Command, Title
from harness.rig.hold import Hold
from harness.rig.identity import Identity
from harness.rig.readings import Reading, not_measured

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen(Generic[T]):
    """What was seen, or why it could not be. Exactly one of the two is given."""

    value: T | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """Something that the operating system will start by itself."""

    unit: str
    starts: str  #: what it starts
    due: datetime  #: aware, UTC


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedFor:
    """A program or a file that the plan names. ``problem`` is empty where it is there."""

    name: str
    what: str  #: whose it is: ``title Lantern Quay, command``
    line: int | None
    column: int | None
    problem: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSeen:
    """The latest value of the reference cell, and where its own history expects it."""

    figure: str
    unit: str
    latest: float
    low: float
    high: float
    values: int  #: how many say so


class Surveyor(Protocol):
    """Looks at a rig. No method raises for what cannot be seen."""

    def readings(self, names: Sequence[str]) -> Mapping[str, Reading]:
        """Return one reading of each name."""

    def identity(self, titles: Sequence[Title]) -> Identity:
        """Return the fingerprint in full, with the builds of *titles* that need no command."""

    def restart_pending(self) -> Seen[tuple[str, ...]]:
        """Return why the machine wants to be started anew; empty: it does not."""

    def timers(self) -> Seen[tuple[Timer, ...]]:
        """Return what will be started by itself, the soonest first."""

    def idle_action(self) -> Seen[str]:
        """Return what the system does when nobody touches it: ``ignore``, ``suspend``, others."""

    def runner(self) -> Seen[str]:
        """Return who carries a plan out on this rig now; an empty text: nobody."""

    def leftovers(self) -> Seen[tuple[str, ...]]:
        """Return what an earlier runner left running."""

    def holds(self) -> tuple[Hold, ...]:
        """Return the holds that stand on this rig."""

    def looked_for(self, wanted: Sequence[Wanted]) -> tuple[LookedFor, ...]:
        """Return whether each program and file that the plan names is there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A program (``command``) or a file (``path``) that must be there."""

    what: str
    command: Command | None = None
    path: str = ""


@dataclass(slots=True, kw_only=True)
class FakeSurveyor:
    """A rig on which everything is well, until a test says otherwise."""

    values: dict[str, Reading] = field(default_factory=dict)
    fields: Identity = field(default_factory=lambda: Identity(fields={}, unread={}))
    restart: Seen[tuple[str, ...]] = field(default_factory=lambda: Seen(value=()))
    due: Seen[tuple[Timer, ...]] = field(default_factory=lambda: Seen(value=()))
    idle: Seen[str] = field(default_factory=lambda: Seen(value="ignore"))
    busy: Seen[str] = field(default_factory=lambda: Seen(value=""))
    left: Seen[tuple[str, ...]] = field(default_factory=lambda: Seen(value=()))
    standing: tuple[Hold, ...] = ()
    missing: dict[str, str] = field(default_factory=dict)  #: name -> what is wrong with it

    def readings(self, names: Sequence[str]) -> Mapping[str, Reading]:
        """Return the readings of the script; others are not measured."""
        return {
            name: self.values.get(name) or not_measured(name, "the script has none")
            for name in names
        }

    def identity(self, titles: Sequence[Title]) -> Identity:
        """Return the fields of the script."""
        return self.fields

    def restart_pending(self) -> Seen[tuple[str, ...]]:
        """Return what the script says."""
        return self.restart

    def timers(self) -> Seen[tuple[Timer, ...]]:
        """Return what the script says."""
        return self.due

    def idle_action(self) -> Seen[str]:
        """Return what the script says."""
        return self.idle

    def runner(self) -> Seen[str]:
        """Return what the script says."""
        return self.busy

    def leftovers(self) -> Seen[tuple[str, ...]]:
        """Return what the script says."""
        return self.left

    def holds(self) -> tuple[Hold, ...]:
        """Return the holds of the script."""
        return self.standing

    def looked_for(self, wanted: Sequence[Wanted]) -> tuple[LookedFor, ...]:
        """Return that everything is there but what the script misses."""
        return tuple(found(each, self.missing.get(named(each), "")) for each in wanted)


def named(wanted: Wanted) -> str:
    """Return the program or the file by the name that the plan gives it."""
    return wanted.path if wanted.command is None else wanted.command.argv[0]


def found(wanted: Wanted, problem: str) -> LookedFor:
    """Return what came of looking for *wanted*."""
    at = wanted.command.at if wanted.command is not None else None
    return LookedFor(
        name=named(wanted),
        what=wanted.what,
        line=at.line if at is not None else None,
        column=at.column if at is not None else None,
        problem=problem,
    )
