"""The model behind a rehearsal: lengths, rates, faults, parts that warm up.

Pure; chance is handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from harness.plan.document import Bound, Title
from harness.plan.words import words
from harness.rig.crossings import GuardBreached
from harness.rig.readings import Reading, Value
from harness.rig.tasks import CommandEnd, EndedBy, PassTask
from harness.rig.thermal import Thermal


class Chance(Protocol):
    """Where chance comes from; ``random.Random(seed)`` fits."""

    def random(self) -> float:
        """Return a number in [0, 1)."""

    def gauss(self, mu: float, sigma: float) -> float:
        """Return a normal deviate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Odds:
    """How often things go wrong, as probabilities for each pass (or command)."""

    exit: float = 0.0
    signal: float = 0.0
    time_limit: float = 0.0
    not_found: float = 0.0
    no_capture: float = 0.0
    guard: float = 0.0
    survivor: float = 0.0
    slept: float = 0.0
    outlier: float = 0.0
    command: float = 0.0  #: that a level's command fails


@dataclass(frozen=True, slots=True, kw_only=True)
class Play:
    """How one pass is played."""

    wall_s: float
    end: CommandEnd
    rate_fps: float | None  #: None: nothing was captured
    problem: str | None = None
    guards: tuple[GuardBreached, ...] = ()
    slept_s: float = 0.0


@dataclass(slots=True, kw_only=True)
class Model:
    """A rig and its titles, as far as a rehearsal needs them.

    ``length_s`` and ``rate_fps`` give the modelled length and average frame rate of a
    pass; ``noise`` is the relative standard deviation of the rate.
    """

    chance: Chance
    length_s: Callable[[PassTask], float] = lambda task: (task.title.cut.length_s or 60.0) + 10.0
    rate_fps: Callable[[PassTask], float] = lambda task: 100.0
    noise: float = 0.005
    odds: Odds = Odds()
    parts: Mapping[str, Thermal] = field(default_factory=dict)
    constants: Mapping[str, Value] = field(default_factory=dict)
    #: What a level in force, (condition, level), makes of some of the constants.
    by_level: Mapping[tuple[str, str], Mapping[str, Value]] = field(default_factory=dict)
    command_s: float = 1.0
    build: Callable[[Title], str] = lambda title: "rehearsed"

    def command_fails(self) -> bool:
        """Return whether a plain command fails this time."""
        return self.chance.random() < self.odds.command

    def expected(self, bound: Bound, in_force: Mapping[str, str], reading: Reading) -> Reading:
        """Return what an ``expect`` reads: what it wants, unless the model says otherwise."""
        if reading.measured:
            return reading
        value: Value | None = bound.equals if bound.equals is not None else None
        if value is None and bound.holds is not None:
            value = (bound.holds,)
        if value is None:
            value = bound.at_least if bound.at_least is not None else bound.at_most
        return Reading(name=bound.reading, unit=bound.unit, value=value)

    def play(self, task: PassTask) -> Play:
        """Draw how one pass goes."""
        odds, draw = self.odds, self.chance.random
        argv, length = task.title.command.argv, self.length_s(task)
        limit = task.title.command.time_limit_s
        wall = min(length, limit)

        def ended(
            by: EndedBy, wall_s: float, status: int | None = None, signal: str | None = None
        ) -> CommandEnd:
            return CommandEnd(argv=argv, by=by, wall_s=wall_s, status=status, signal=signal)

        if length > limit or draw() < odds.time_limit:
            return Play(wall_s=limit, end=ended(EndedBy.TIME_LIMIT, limit), rate_fps=None)
        if draw() < odds.not_found:
            return Play(wall_s=0.0, end=ended(EndedBy.NOT_FOUND, 0.0), rate_fps=None)
        if draw() < odds.exit:
            return Play(wall_s=wall / 2, end=ended(EndedBy.EXIT, wall / 2, 3), rate_fps=None)
        if draw() < odds.signal:
            end = ended(EndedBy.SIGNAL, wall / 2, signal="SIGSEGV")
            return Play(wall_s=wall / 2, end=end, rate_fps=None)
        if draw() < odds.no_capture:
            well = ended(EndedBy.EXIT, wall, 0)
            return Play(wall_s=wall, end=well, rate_fps=None, problem="no file was left")
        if draw() < odds.survivor:
            end = CommandEnd(
                argv=argv, by=EndedBy.EXIT, wall_s=wall, status=0, survivors=("process 4711",)
            )
            return Play(wall_s=wall, end=end, rate_fps=None)
        rate = self.rate_fps(task) * max(0.01, 1 + self.chance.gauss(0.0, self.noise))
        if draw() < odds.outlier:
            rate *= 0.7
        slept = 600.0 if draw() < odds.slept else 0.0
        guards: tuple[GuardBreached, ...] = ()
        if draw() < odds.guard:
            guards = (_breach(task),)
        well = ended(EndedBy.EXIT, wall, 0)
        return Play(wall_s=wall, end=well, rate_fps=rate, guards=guards, slept_s=slept)


def _breach(task: PassTask) -> GuardBreached:
    """Return a breach of the plan's first guard; of one made up where it has none."""
    first = task.watch.guards[0].bound if task.watch.guards else None
    return GuardBreached(
        guard=0,
        reading="cpu.load.others" if first is None else first.reading,
        bound="at most 15 %" if first is None else words(first),
        share=0.4,
        samples=24,
        measured=60,
        worst=77.0 if first is None else None,
        unit="%" if first is None else first.unit,
    )
