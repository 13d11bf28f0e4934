"""The world of a simulated night: a rig that lies, loses parts and sleeps; a runner that dies.

Touches nothing; chance is handed in. What the world remembers outlives a runner.
"""

from __future__ import annotations

import dataclasses
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from harness.plan.words import words
from harness.rig.crossings import (
    GateGaveUp,
    GatesOpened,
    LimitBreached,
    PassWatch,
    TooCold,
    WaitEnd,
    WaitWatch,
)
from harness.rig.plausible import NOTHING, why_implausible
from harness.rig.readings import Reading, measured
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.tasks import EndedBy, LevelReport, LevelTask, PassReport, PassTask

#: What the card draws where no level is in force, W, and what level-N allows.
AT_REST_W, LEVEL_0_W = 150.0, 200.0

Interrupt = Callable[[], bool]


class Killed(BaseException):
    """The runner is gone, as after kill -9 or a power cut."""


@dataclass(slots=True)
class Fate:
    """Counts down the calls that reach outside; at zero the runner is killed."""

    calls_left: int

    def step(self) -> None:
        """Count one call; raise Killed when it was the last."""
        self.calls_left -= 1
        if self.calls_left == 0:
            raise Killed


class Mortal:
    """Wraps a port: the runner may be killed just before or just after any call."""

    def __init__(self, inner: Any, fate: Fate) -> None:
        self._inner = inner
        self._fate = fate

    def __getattr__(self, name: str) -> Callable[..., Any]:
        method, step = getattr(self._inner, name), self._fate.step

        def call(*args: Any, **kwargs: Any) -> Any:
            step()
            answer = method(*args, **kwargs)
            step()
            return answer

        setattr(self, name, call)  # the next time it is found without asking here
        return call


@dataclass(slots=True)
class SetClock(RehearsedClock):
    """A clock of the day that somebody sets; the steady one goes on."""

    gained_s: float = 0.0
    jumps: int = 0
    _told: tuple[float, datetime] | None = None  #: asked far more often than it moves

    def now(self) -> datetime:
        """Return the instant as the clock of the day has it."""
        at_s = self.elapsed_s + self.gained_s
        if self._told is None or self._told[0] != at_s:
            self._told = (at_s, self.start + timedelta(seconds=at_s))
        return self._told[1]

    def set_by(self, seconds: float) -> None:
        """Set the clock of the day forward, or back."""
        self.gained_s += seconds
        self.jumps += 1


@dataclass(slots=True)
class Mischief:
    """How often the world does what no plan foresees, as probabilities for each wait or pass."""

    lie: float = 0.0  #: a sensor says what cannot be, so that its reading is lost
    jump: float = 0.0  #: the clock of the day is set
    device_lost: float = 0.0
    not_given_back: float = 0.0
    full: float = 0.0  #: for each write: the disk is full
    low: float = 0.0  #: for each start of a runner: the disk is nearly full


@dataclass(slots=True)
class Rig(RehearsedBench):
    """A rehearsed rig whose power limit is what its commands have made of it."""

    def _reading(self, name: str) -> Reading:
        if name == "gpu.power.limit":
            level = self.in_force.get("power")
            watts = AT_REST_W if level is None else LEVEL_0_W + int(level.removeprefix("level-"))
            return measured(name, watts)
        return RehearsedBench._reading(self, name)


@dataclass(slots=True)
class Witness:
    """A bench that plays the world's tricks, and notes what the invariants need to know of it."""

    inner: Rig
    clock: SetClock
    rng: random.Random
    tricks: Mischief
    mark: bool
    last_wait: object = None
    gated: bool = True
    told: Counter[str] = field(default_factory=Counter)  #: tricks that were played
    undo_failed: bool = False
    checked: int = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(self.inner, name)

    def wait(self, watch: WaitWatch, interrupt: Interrupt) -> WaitEnd:
        """Wait, and note how it ended."""
        self._perhaps_set_the_clock()
        if watch.limits and self._happens("lie", self.tricks.lie):
            self.clock.elapsed_s += 1.0
            self.last_wait = lost = _lost(watch, self.rng)
            return lost
        self.last_wait = end = self.inner.wait(watch, interrupt)
        return end

    def set_level(self, task: LevelTask) -> LevelReport:
        """Bring a level about, or undo it: then the card is at rest."""
        report = self.inner.set_level(task)
        end = report.end
        if task.undo and end is not None:
            self.undo_failed = not (end.by is EndedBy.EXIT and end.status == 0)
            if not self.undo_failed:
                self.inner.in_force.pop(task.condition, None)
        return report

    def carry_out(self, task: PassTask, stop: Interrupt) -> PassReport:
        """Carry out a pass, unless the rig is held, a gate is closed or a level is another."""
        held = [hold.id for hold in self.inner.holds() if "-owes-" not in hold.id]
        assert not held, f"{task.name} starts on a held rig: {held}"
        if self.gated:
            opened = isinstance(self.last_wait, GatesOpened)
            marked = isinstance(self.last_wait, GateGaveUp) and self.mark
            warming = isinstance(self.last_wait, TooCold) and task.warm_up
            assert opened or marked or warming, f"{task.name} starts after {self.last_wait}"
        wanted = dict(task.cell.levels).get("power")
        assert self.inner.in_force.get("power") == wanted, f"{task.name} at another level"
        self.checked += 3
        self.last_wait = None
        report = self.inner.carry_out(task, stop)
        self._perhaps_set_the_clock()
        if task.watch.limits and self._happens("lie", self.tricks.lie):
            limit = _lost(task.watch, self.rng)
            end = dataclasses.replace(report.end, by=EndedBy.LIMIT, status=None)
            return dataclasses.replace(report, limit=limit, end=end)
        if self._happens("device-lost", self.tricks.device_lost):
            return dataclasses.replace(report, device_lost="the card is lost")
        if self._happens("not-given-back", self.tricks.not_given_back):
            return dataclasses.replace(report, not_given_back=("conf/quay.ini: read-only",))
        return report

    def _happens(self, what: str, odds: float) -> bool:
        if odds == 0.0 or self.rng.random() >= odds:
            return False
        self.told[what] += 1
        return True

    def _perhaps_set_the_clock(self) -> None:
        if self._happens("clock-set", self.tricks.jump):
            self.clock.set_by(self.rng.choice([-7200.0, -3600.0, -0.5, 0.5, 3600.0, 3.2e8]))


def _lost(watch: WaitWatch | PassWatch, rng: random.Random) -> LimitBreached:
    """Return a limit whose sensor says what cannot be: its reading is lost."""
    bound = watch.limits[0].bound
    said = rng.choice([*sorted(NOTHING["°C"]), 131.0, -60.0])
    why = why_implausible(bound.reading, said, unit=bound.unit)
    assert why is not None, f"{said} is taken for a temperature"
    return LimitBreached(
        reading=bound.reading, unit=bound.unit, bound=words(bound), value=None, why=why, at_s=1.0
    )
