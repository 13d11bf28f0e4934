"""Where readings come from: the port every source fits, and a fake of it.

Pure. A source reads a few related quantities in one look. Whatever it raises costs exactly
the readings it offers, never the others and never the run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

from harness.rig.readings import Reading, Value, measured, not_measured


class Source(Protocol):
    """One place that readings come from.

    ``where`` is shown to a person; ``names`` is what it offers; ``each_tick`` is false for
    what cannot change during a pass, or costs too much to be read there.
    """

    @property
    def where(self) -> str:
        """Return where it reads from."""

    @property
    def names(self) -> tuple[str, ...]:
        """Return the readings it offers."""

    @property
    def each_tick(self) -> bool:
        """Return whether it is read once a second."""

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return one reading of each name; *at_s* is the steady clock's time.

        A rate covers the time since the look before. It may raise anything.
        """


@runtime_checkable
class Device(Protocol):
    """What a source adds that reads one device, known by a lasting name."""

    @property
    def identity(self) -> str:
        """Return what the device is and which one, as a person reads it."""

    @property
    def lost(self) -> str | None:
        """Return that the device answers no more, and what was read last; None: it answers."""


@runtime_checkable
class Noted(Protocol):
    """What a source adds that has more to say than its readings."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Return it, a sentence each without a full stop."""


class Unreadable(Exception):
    """What a source raises where it can say itself why there is nothing to read."""

    def __init__(self, why: str, *, raw: str | None = None) -> None:
        super().__init__(why)
        self.why = why
        self.raw = raw


@dataclass(frozen=True, slots=True, kw_only=True)
class Absent:
    """A source that is not there: its readings are not measured, and why is known."""

    where: str
    names: tuple[str, ...]
    why: str
    each_tick: bool = False

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return that nothing is measured."""
        return {name: not_measured(name, self.why) for name in self.names}


@dataclass(frozen=True, slots=True, kw_only=True)
class Single:
    """A source of one reading, from a plain function."""

    where: str
    name: str
    value: Callable[[], Value]
    each_tick: bool = True

    @property
    def names(self) -> tuple[str, ...]:
        """Return its one name."""
        return (self.name,)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return its one reading."""
        return {self.name: measured(self.name, self.value())}


@dataclass(slots=True, kw_only=True)
class FakeSource:
    """A source that plays a script: one value, or one exception, for each look.

    After the last entry of the script it stays with it. A value of None is a reading that
    is not there.
    """

    name: str
    script: tuple[Value | Exception | None, ...]
    where: str = "a script"
    each_tick: bool = True
    looks: list[float] = field(default_factory=list)  #: when it was read

    @property
    def names(self) -> tuple[str, ...]:
        """Return its one name."""
        return (self.name,)

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return what the script says for this look."""
        entry = self.script[min(len(self.looks), len(self.script) - 1)]
        self.looks.append(at_s)
        if isinstance(entry, Exception):
            raise entry
        if entry is None:
            return {self.name: not_measured(self.name, "the script has none")}
        return {self.name: measured(self.name, entry)}
