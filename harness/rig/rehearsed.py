"""The rehearsed bench and clock: the same ports, simulated time, nothing launched.

Pure. Temperatures follow Newton's law of cooling, commands have modelled lengths, rates and
faults, and chance is handed in, so that a night is played again exactly from its seed.
Crossings are worked out in closed form, on the same one-second ticks on which the real
bench samples: a contract test holds both against each other.

What the world remembers (holds, temperatures, what is still running) outlives a runner:
after a simulated crash the next runner is handed the same bench.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from harness.plan.document import Command, Title
from harness.rig.crossings import (
    DeviceLost,
    ExpectNotMet,
    GuardBreached,
    LimitBreached,
    PassWatch,
    WaitEnd,
    WaitWatch,
    Woken,
)
from harness.rig.fingerprint_fields import title_build
from harness.rig.foreseen import guard_in_pass, limit_in_pass, waiting
from harness.rig.model import Model, Play
from harness.rig.quantities import QUANTITIES
from harness.rig.readings import Reading, Sample, Value, measured, not_measured
from harness.rig.rehearsed_clock import NobodyComes as NobodyComes
from harness.rig.rehearsed_clock import RehearsedClock as RehearsedClock
from harness.rig.tasks import (
    CommandEnd,
    EndedBy,
    Hold,
    Leftovers,
    LevelReport,
    LevelTask,
    PassReport,
    PassTask,
    Release,
)
from harness.rig.thermal import Course

Interrupt = Callable[[], bool]
"""Asked whether a wait is to be broken off."""


@dataclass(slots=True)
class RehearsedBench:
    """A rig that exists only as a model."""

    clock: RehearsedClock
    model: Model
    #: Fields of the fingerprint; a test changes them as an update would.
    fields: dict[str, str] = field(default_factory=lambda: {"os.build": "rehearsed 1"})
    #: Fields that cannot be read, and why.
    unreadable: dict[str, str] = field(default_factory=dict)
    #: Name of the attempt whose command is running, None while the rig is quiet.
    running: str | None = None
    #: Names of all attempts that were ever launched, in order.
    launched: list[str] = field(default_factory=list)
    #: Temperature of each modelled part, °C; absent: at rest in the room.
    temperatures: dict[str, float] = field(default_factory=dict)
    #: How much of that is the chip's own, over its heatsink; absent: as the model has it.
    chips: dict[str, float] = field(default_factory=dict)
    #: Readings that are lost, and why.
    lost: dict[str, str] = field(default_factory=dict)
    #: A device that answers no more, in words; None: all answer.
    device_lost: str | None = None
    #: Level that is really in force, by condition.
    in_force: dict[str, str] = field(default_factory=dict)
    #: The same, of levels that a person brought about or that are only read, too.
    _levels: dict[str, str] = field(default_factory=dict)
    _holds: list[Hold] = field(default_factory=list)
    _releases: list[Release] = field(default_factory=list)
    _play: Play | None = None

    # --- holds and leftovers -------------------------------------------------------

    def recover(self, run: str) -> Leftovers:
        """End the command an earlier runner left, if there is one."""
        ended = () if self.running is None else (f"attempt {self.running}",)
        self.running = None
        return Leftovers(ended=ended)

    def holds(self) -> tuple[Hold, ...]:
        """Return the holds that are not released."""
        released = {release.hold for release in self._releases}
        return tuple(hold for hold in self._holds if hold.id not in released)

    def releases(self) -> tuple[Release, ...]:
        """Return every release, oldest first."""
        return tuple(self._releases)

    def hold(self, hold: Hold) -> None:
        """Make a hold stand; a second time under one id changes nothing."""
        if all(each.id != hold.id for each in self._holds):
            self._holds.append(hold)

    def release(self, release: Release) -> None:
        """Lift a hold; a second time changes nothing."""
        if all(each.hold != release.hold for each in self._releases):
            self._releases.append(release)

    # --- readings ------------------------------------------------------------------

    def fingerprint(self, title: Title | None, *, full: bool) -> Mapping[str, str]:
        """Return the modelled fields, and the build of *title*."""
        fields = {n: text for n, text in self.fields.items() if n not in self.unreadable}
        if title is None:
            return fields
        return {**fields, title_build(title.title): self.model.build(title)}

    def unread(self) -> Mapping[str, str]:
        """Return the fields that are modelled as unreadable, and why."""
        return dict(self.unreadable)

    def read(self, names: Sequence[str]) -> tuple[Reading, ...]:
        """Return the modelled readings at this moment."""
        return tuple([self._reading(name) for name in names])

    def sample(self) -> Sample:
        """Return every modelled reading at this moment, as the real sampler would."""
        at = self.clock.steady_s()
        names = (*self.model.constants, *self.model.parts)
        return Sample(at_s=at, end_s=at, readings={name: self._reading(name) for name in names})

    def _reading(self, name: str) -> Reading:
        if name in self.lost:
            return not_measured(name, self.lost[name])
        part = self.model.parts.get(name)
        if part is not None:
            return measured(name, self.temperatures.get(name, part.room_c))
        value = self._constant(name)
        if value is not None:
            return measured(name, value)
        if name not in QUANTITIES:
            return Reading(name=name, unit="", why="this rig has no such reading")
        return not_measured(name, "this rig has no such reading")

    def _constant(self, name: str) -> Value | None:
        """Return what *name* reads as long as the levels in force are these."""
        for pair in self._levels.items():
            if name in self.model.by_level.get(pair, {}):
                return self.model.by_level[pair][name]
        return self.model.constants.get(name)

    def _course(self, *, loaded: bool) -> Course:
        parts = self.model.parts
        if self.lost:
            parts = {name: part for name, part in parts.items() if name not in self.lost}
        return Course(parts, self.temperatures, self._reading, loaded, self.chips)

    def relax(self, seconds: float, *, loaded: bool) -> None:
        """Let every part cool, or warm up under load, for *seconds*."""
        parts = self.model.parts
        course = Course(parts, self.temperatures, self._reading, loaded, self.chips)
        for name, part in parts.items():
            now, chip = course.start_c(name), course.chip_c(name)
            self.temperatures[name] = part.after(now, seconds, loaded=loaded, chip_c=chip)
            if part.step_c:
                self.chips[name] = part.chip_after(now, seconds, loaded=loaded, chip_c=chip)

    # --- doing ---------------------------------------------------------------------

    def set_level(self, task: LevelTask) -> LevelReport:
        """Bring the level about, unless the model's chance says that it fails."""
        end = None
        if task.command is not None:
            end = self.run(task.command)
            if end.by is EndedBy.EXIT and end.status == 0 and not task.undo:
                self.in_force[task.condition] = task.level
        if task.undo:
            self._levels.pop(task.condition, None)
        elif end is None or (end.by is EndedBy.EXIT and end.status == 0):
            self._levels[task.condition] = task.level
        readings = tuple(
            self.model.expected(bound, self.in_force, self._reading(bound.reading))
            for bound in task.expect
        )
        return LevelReport(end=end, readings=readings)

    def run(self, command: Command) -> CommandEnd:
        """Run one plain command of modelled length."""
        self._pass_time(self.model.command_s, loaded=False)
        status = 1 if self.model.command_fails() else 0
        return CommandEnd(
            argv=command.argv, by=EndedBy.EXIT, wall_s=self.model.command_s, status=status
        )

    def _pass_time(self, seconds: float, *, loaded: bool) -> None:
        self.clock.elapsed_s += seconds
        self.relax(seconds, loaded=loaded)

    def wait(self, watch: WaitWatch, interrupt: Interrupt) -> WaitEnd:
        """Work out when the gates open, a gate gives up or a limit is passed.

        Where the machine sleeps in the wait, *interrupt* is asked again after it, as the real
        bench does; who goes on then waits anew.
        """
        if interrupt():
            return Woken(waited_s=0.0)
        end, waited = waiting(watch, self._course(loaded=False))
        if self.device_lost is not None and not isinstance(end, LimitBreached):
            return DeviceLost(what=self.device_lost, waited_s=0.0)
        asleep_s = self.clock.sleep_within(waited) if self.clock.sleeps else None
        if asleep_s is not None:
            self._pass_time(asleep_s, loaded=False)
            slept_s = self.clock.sleep()
            self.relax(slept_s, loaded=False)
            if interrupt():
                return Woken(waited_s=asleep_s + slept_s)
            return self.wait(watch, interrupt)
        self._pass_time(waited, loaded=False)
        return end

    def carry_out(self, task: PassTask, stop: Interrupt) -> PassReport:
        """Play one pass.

        Raises:
            AssertionError: another capture is still running: two would overlap.
        """
        name = task.name
        assert self.running is None, f"{name} starts while {self.running} runs"
        self.running = name
        self.launched.append(name)
        play = self.model.play(task)
        course = self._course(loaded=True)
        limit, until_s = _first_limit(task.watch, play.wall_s, course)
        guards = () if limit else _guards(task.watch, play.wall_s, course)
        self._pass_time(until_s, loaded=True)
        end = play.end
        if limit is not None:
            end = CommandEnd(argv=play.end.argv, by=EndedBy.LIMIT, wall_s=until_s)
        if stop():
            end = CommandEnd(argv=play.end.argv, by=EndedBy.STOPPED, wall_s=until_s)
        self.running = None
        self._play = play
        return PassReport(
            end=end,
            limit=limit,
            guards=(*guards, *play.guards),
            expects=self._not_met(task.watch),
            device_lost=self.device_lost,
            slept_s=play.slept_s,
        )

    def _not_met(self, watch: PassWatch) -> tuple[ExpectNotMet, ...]:
        """Return what levels expect under load and the model says otherwise.

        What the model has no word on is as it should be. The rest never changes, so that
        one sample is as good as all.
        """
        if not watch.expects:
            return ()
        watch.feed(self.sample(), into_s=0.0)
        return tuple(each for each in watch.not_met() if each.reading in self.model.constants)

    def played(self) -> Play:
        """Return how the last pass was played; the rehearsed meter reads it."""
        assert self._play is not None
        return self._play


def _first_limit(
    watch: PassWatch, wall_s: float, course: Course
) -> tuple[LimitBreached | None, float]:
    """Return the first limit breached in a pass, and how long the pass lasted."""
    first, until_s = None, wall_s
    for limit in watch.limits:
        breach = limit_in_pass(limit, until_s, course)
        if breach is not None and (first is None or breach.at_s < first.at_s):
            first, until_s = breach, breach.at_s
    return first, until_s


def _guards(watch: PassWatch, wall_s: float, course: Course) -> tuple[GuardBreached, ...]:
    found = [
        guard_in_pass(number, guard, wall_s, course) for number, guard in enumerate(watch.guards)
    ]
    return tuple([breach for breach in found if breach is not None])
