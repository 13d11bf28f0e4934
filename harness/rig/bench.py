"""The real bench: the rig as one object. It touches the machine and judges nothing.

Touches disk, processes and the sensors. Must be used from the main thread: commands die with
the thread that started them.
"""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from harness.plan.document import Command, Title
from harness.rig.attempt import (
    AttemptFolder,
    completed,
    fresh,
    left_by_earlier,
    members,
    worth_keeping,
)
from harness.rig.clock import MachineClock
from harness.rig.command import Commands, Patience
from harness.rig.control_group import handed_over
from harness.rig.crossings import DeviceLost, LimitBreached, WaitEnd, WaitWatch, Woken
from harness.rig.ending import become_subreaper
from harness.rig.fingerprint import Fingerprint
from harness.rig.holds import Holds
from harness.rig.locks import RigLock
from harness.rig.onlookers import Onlookers
from harness.rig.originals import Originals, pay_debts
from harness.rig.orphans import end_orphans, rig_mark, token
from harness.rig.other_processes import OtherProcesses
from harness.rig.plain import PlainCommands
from harness.rig.process import Inherited, inherited
from harness.rig.readings import Reading, Sample
from harness.rig.sampler import INTERVAL_S, Sampler, watched
from harness.rig.sensors.sensors import Sensors
from harness.rig.steps import Steps
from harness.rig.stop import StopFlag
from harness.rig.tasks import (
    CommandEnd,
    Hold,
    Leftovers,
    LevelReport,
    LevelTask,
    PassReport,
    PassTask,
    Release,
)
from harness.rig.tree import descendants
from harness.rig.two_clocks import LEAST_SLEEP_S

Interrupt = Callable[[], bool]

#: Rates need this long before their first use, seconds.
_PRIME_S = 0.25
_PATIENCE = Patience()


def _unseen(sample: Sample) -> None:
    pass


class RealBench:
    """This machine as a bench. Fits ``harness.run.ports.Bench``.

    The runner lock of the rig must be in hand. Every attempt has a fresh folder
    ``WORK/RUN/ATTEMPT``; it is removed when the next pass starts, since by then its files
    are kept (see :meth:`discard_kept`).

    Args:
        state: Folder of the rig's own state, the same for every plan and store.
        work: Folder for the attempts.
        folder: Where commands run, and what relative paths in a plan are relative to.
        clock: The machine's clock.
        sensors: The machine's readings.
        follow: Told which process is the title's, so that cpu.load.others leaves it out.
        flag: Raised when the runner is to stop; it wakes the bench.
        patience: How long to wait for what.
        given: Affinity and niceness of a command; None: those of this process now.
        interval_s: From sample to sample.
    """

    def __init__(
        self,
        *,
        state: Path,
        work: Path,
        folder: Path,
        clock: MachineClock,
        sensors: Sensors,
        follow: Callable[[int | None], None] = lambda pid: None,
        flag: StopFlag | None = None,
        patience: Patience = _PATIENCE,
        given: Inherited | None = None,
        interval_s: float = INTERVAL_S,
    ) -> None:
        self._work, self._clock, self._sensors = work.resolve(), clock, sensors
        self._interval_s, self._patience = interval_s, patience
        self._lock = RigLock(state)
        self._holds = Holds(state)
        self._originals = Originals(state)
        self._mark = rig_mark(state)
        become_subreaper()
        self._commands = Commands(
            lock=self._lock,
            clock=clock,
            given=given if given is not None else inherited(),
            folder=folder.resolve(),
            patience=patience,
            flag=flag,
            strangers=frozenset(each.id for each in descendants(os.getpid())),
            nets=handed_over(),
        )
        self._plain = PlainCommands(
            commands=self._commands,
            work=self._work,
            token=token(self._mark, run="", what="command"),
        )
        self._fingerprint = Fingerprint(
            folder=folder.resolve(),
            read=lambda name: self._sensors.read([name])[0],
            ask=self._plain.said,
        )
        #: Told every sample of a wait or a pass, the latter on the sampler's thread.
        self.on_sample: Callable[[Sample], None] = _unseen
        self._onlookers = Onlookers(
            sensors=sensors,
            clock=clock,
            follow=follow,
            on_sample=lambda sample: self.on_sample(sample),
            interval_s=interval_s,
        )
        self._kept: list[Path] = []
        self._primed = False

    # --- leftovers and holds -----------------------------------------------------------

    def recover(self, run: str) -> Leftovers:
        """End what an earlier runner left running, give back what it had lent; return both."""
        ended, survivors = end_orphans(self._mark, lock=self._lock, clock=self._clock)
        attempts = left_by_earlier(self._work / run)
        self._kept += [self._work / run / name for name in attempts]
        given_back = pay_debts(self._originals, holds=self._holds, now=self._clock.now())
        return Leftovers(ended=ended, survivors=survivors, attempts=attempts, given_back=given_back)

    def holds(self) -> tuple[Hold, ...]:
        """Return the holds that stand on this rig, whoever made them."""
        return self._holds.standing()

    def releases(self) -> tuple[Release, ...]:
        """Return every release on this rig, oldest first."""
        return self._holds.releases()

    def hold(self, hold: Hold) -> None:
        """Make a hold stand, durably."""
        self._holds.hold(hold)

    def release(self, release: Release) -> None:
        """Lift one hold, durably."""
        self._holds.release(release)

    # --- readings ----------------------------------------------------------------------

    def fingerprint(self, title: Title | None, *, full: bool) -> Mapping[str, str]:
        """Return the fields that identify the rig's state, and *title*'s build."""
        return self._fingerprint.take(title, full=full)

    def unread(self) -> Mapping[str, str]:
        """Return the fields that could not be read when last looked at, and why."""
        return self._fingerprint.unread

    def read(self, names: Sequence[str]) -> tuple[Reading, ...]:
        """Return one reading of each name, in that order."""
        self._prime()
        return self._sensors.read(names)

    def _prime(self) -> None:
        """Start the counts that rates are taken from, once."""
        if not self._primed:
            self._sensors.sample()
            self._clock.pause(_PRIME_S)
        self._primed = True

    def wait(self, watch: WaitWatch, interrupt: Interrupt) -> WaitEnd:
        """Feed *watch* until it answers, *interrupt* is true, or a device answers no more."""
        self._prime()
        also = [*(g.bound.reading for g in watch.gates), *(x.bound.reading for x in watch.limits)]
        started_s = self._clock.steady_s()
        tick = 0
        while True:
            sample = self._sensors.sample(also)
            waited_s = sample.at_s - started_s
            end = watch.feed(sample, waited_s=waited_s)
            self.on_sample(sample)
            lost = self._sensors.device_lost
            if lost is not None and not isinstance(end, LimitBreached):
                return DeviceLost(what=lost, waited_s=waited_s)
            if end is not None:
                return end
            tick = max(tick + 1, int((self._clock.steady_s() - started_s) / self._interval_s))
            deadline_s = started_s + tick * self._interval_s
            if not self._clock.wait(deadline_s - self._clock.steady_s(), interrupt):
                return Woken(waited_s=self._clock.steady_s() - started_s)

    # --- doing -------------------------------------------------------------------------

    def set_level(self, task: LevelTask) -> LevelReport:
        """Bring a level about and read what it is expected to change.

        A limit that is passed ends the command at once, unless it puts a level back.
        """
        end, limit = None, None
        if task.command is not None:
            self._prime()
            watch, ends = task.watch, not task.undo
            sampler = self._onlookers.of_step(watch, ends=ends) if watch is not None else None
            end, _ = self._plain.carry_out(task.command, sampler=sampler)
            limit = sampler.limit if sampler is not None else None
        readings = self.read([bound.reading for bound in task.expect])
        return LevelReport(end=end, readings=readings, limit=limit)

    def run(self, command: Command) -> CommandEnd:
        """Run one plain command to its end. What it said last is in ``detail`` if it failed."""
        return self._plain.carry_out(command)[0]

    def carry_out(self, task: PassTask, stop: Interrupt) -> PassReport:
        """Carry out one pass, to the proof that nothing of it is left running."""
        self.discard_kept()
        self._prime()
        folder = fresh(self._work / task.run, task.name)
        sampler = self._onlookers.of_title(task.watch, lines=folder.readings)
        others = OtherProcesses(watched(task.watch))
        suspended_s, cpu_s = self._clock.suspended_s(), time.process_time()
        try:
            done = self._steps(task, folder, stop, sampler).carry_out()
        finally:
            sampler.finish()  # also where the title was never started
        cpu_s = time.process_time() - cpu_s
        slept_s = self._clock.suspended_s() - suspended_s
        meanwhile = self._onlookers.of_settling(task.watch)
        end = completed(
            done.end,
            folder,
            patterns=task.title.collect,
            where=self._commands.folder,
            clock=self._clock,
            settle_s=self._patience.settle_s,
            each_look=meanwhile.look,
        )
        self._kept.append(folder.path)
        return PassReport(
            end=end,
            failed_step=done.failed_step,
            folder=folder.path,
            folder_made_ns=folder.made_ns,
            members=members(folder.path, wanted=worth_keeping),
            samples=tuple(sampler.samples),
            guards=task.watch.breaches(wall_s=end.wall_s) if sampler.samples else (),
            expects=task.watch.not_met(),
            others=others.after(),
            limit=done.limit or meanwhile.limit,
            limit_step=done.limit_step if done.limit or not meanwhile.limit else "settling files",
            recorder=done.recorder,
            changed_files=done.changed_files,
            not_given_back=done.not_given_back,
            device_lost=self._sensors.device_lost,
            slept_s=slept_s if slept_s >= LEAST_SLEEP_S else 0.0,
            harness_cpu_s=cpu_s,
            sampling=sampler.sampling(),
        )

    def _steps(
        self, task: PassTask, folder: AttemptFolder, stop: Interrupt, sampler: Sampler
    ) -> Steps:
        return Steps(
            task=task,
            folder=folder,
            commands=self._commands,
            values={**task.fill, "captures": str(folder.captures), "python": sys.executable},
            token=token(self._mark, run=task.run, what=task.name),
            stop=stop,
            onlooker=sampler,
            of_step=lambda: self._onlookers.of_step(task.watch),
            originals=self._originals,
        )

    def discard_kept(self) -> None:
        """Remove the folders of attempts that were handed over: their files are kept by now.

        Called at the start of every pass, and by whoever ends a run.
        """
        for path in self._kept:
            shutil.rmtree(path, ignore_errors=True)
        self._kept.clear()
