"""The real bench: the rig as one object. It touches the machine and judges nothing.

Touches disk, processes and the sensors. Must be used from the main thread: commands die with
the thread that started them.
"""

from __future__ import annotations

import copy
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from harness.plan.document import Command, Title
from harness.rig.attempt import (
    AttemptFolder,
    collect,
    fresh,
    left_by_earlier,
    members,
    wait_until_settled,
    worth_keeping,
)
from harness.rig.clock import MachineClock
from harness.rig.command import Commands, Patience
from harness.rig.crossings import PassWatch, WaitEnd, WaitWatch, Woken
from harness.rig.ending import become_subreaper
from harness.rig.fingerprint import Fingerprint
from harness.rig.holds import Holds
from harness.rig.locks import RigLock
from harness.rig.orphans import end_orphans, rig_mark, token
from harness.rig.output import last_line
from harness.rig.placeholders import filled
from harness.rig.process import Inherited, inherited
from harness.rig.readings import Reading, Sample
from harness.rig.sampler import INTERVAL_S, Sampler
from harness.rig.sensors.sensors import Sensors
from harness.rig.steps import carry_out_steps, succeeded
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

Interrupt = Callable[[], bool]

#: Rates need this long before their first use, seconds.
_PRIME_S = 0.25
#: A suspend shorter than this cannot be told from the reading of two clocks, seconds.
_LEAST_SLEEP_S = 0.05
_PATIENCE = Patience()


def _never() -> bool:
    return False


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
        self._follow, self._interval_s, self._patience = follow, interval_s, patience
        self._lock = RigLock(state)
        self._holds = Holds(state)
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
        )
        self._fingerprint = Fingerprint(
            folder=folder.resolve(), read=lambda name: self._sensors.read([name])[0], ask=self._ask
        )
        #: Told every sample of a wait or a pass, the latter on the sampler's thread.
        self.on_sample: Callable[[Sample], None] = _unseen
        self._kept: list[Path] = []
        self._primed = False

    # --- leftovers and holds -----------------------------------------------------------

    def recover(self, run: str) -> Leftovers:
        """End what an earlier runner left running; return what it left."""
        ended, survivors = end_orphans(self._mark, lock=self._lock, clock=self._clock)
        attempts = left_by_earlier(self._work / run)
        self._kept += [self._work / run / name for name in attempts]
        return Leftovers(ended=ended, survivors=survivors, attempts=attempts)

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
        """Feed *watch* once a second until it answers or *interrupt* is true."""
        self._prime()
        also = [*(g.bound.reading for g in watch.gates), *(x.bound.reading for x in watch.limits)]
        started_s = self._clock.steady_s()
        tick = 0
        while True:
            sample = self._sensors.sample(also)
            waited_s = sample.at_s - started_s
            self.on_sample(sample)
            end = watch.feed(sample, waited_s=waited_s)
            if end is not None:
                return end
            tick = max(tick + 1, int((self._clock.steady_s() - started_s) / self._interval_s))
            deadline_s = started_s + tick * self._interval_s
            if not self._clock.wait(deadline_s - self._clock.steady_s(), interrupt):
                return Woken(waited_s=self._clock.steady_s() - started_s)

    # --- doing -------------------------------------------------------------------------

    def set_level(self, task: LevelTask) -> LevelReport:
        """Bring a level about and read what it is expected to change.

        Known gap: limits are not watched while a plain command runs, a level's among them.
        Its own time limit ends it; a breach is found at the next wait.
        """
        end = self.run(task.command) if task.command is not None else None
        return LevelReport(end=end, readings=self.read([b.reading for b in task.expect]))

    def run(self, command: Command) -> CommandEnd:
        """Run one plain command to its end. What it said last is in ``detail`` if it failed."""
        return self._plain(command)[0]

    def _ask(self, command: Command) -> bytes | None:
        end, output = self._plain(command)
        return output if succeeded(end) else None

    def _plain(self, command: Command) -> tuple[CommandEnd, bytes]:
        self._work.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix="command-", dir=self._work) as name:
            out, err = Path(name) / "stdout", Path(name) / "stderr"
            end = self._commands.carry_out(
                filled(command.argv, {"python": sys.executable}),
                time_limit_s=command.time_limit_s,
                token=token(self._mark, run="", what="command"),
                stdout=out,
                stderr=err,
                stop=_never,
            )
            said = last_line(err) or last_line(out)
            if not succeeded(end) and said:
                end = replace(end, detail=f"{end.detail}; it said: {said}".removeprefix("; "))
            return end, out.read_bytes() if out.exists() else b""

    def carry_out(self, task: PassTask, stop: Interrupt) -> PassReport:
        """Carry out one pass, to the proof that nothing of it is left running."""
        self.discard_kept()
        self._prime()
        folder = fresh(self._work / task.run, task.name)
        sampler = self._sampler(task.watch, lines=folder.readings)
        suspended_s, cpu_s = self._clock.suspended_s(), time.process_time()
        try:
            done = carry_out_steps(
                task,
                folder=folder,
                commands=self._commands,
                values={**task.fill, "captures": str(folder.captures), "python": sys.executable},
                token=token(self._mark, run=task.run, what=task.name),
                stop=stop,
                onlooker=sampler,
                of_step=lambda: self._of_step(task.watch),
            )
        finally:
            sampler.finish()  # also where the title was never started
        cpu_s = time.process_time() - cpu_s
        slept_s = self._clock.suspended_s() - suspended_s
        end = self._completed(done.end, folder, task.title)
        self._kept.append(folder.path)
        return PassReport(
            end=end,
            failed_step=done.failed_step,
            folder=folder.path,
            folder_made_ns=folder.made_ns,
            members=members(folder.path, wanted=worth_keeping),
            samples=tuple(sampler.samples),
            guards=task.watch.breaches(wall_s=end.wall_s) if sampler.samples else (),
            limit=done.limit,
            slept_s=slept_s if slept_s >= _LEAST_SLEEP_S else 0.0,
            harness_cpu_s=cpu_s,
        )

    def _of_step(self, watch: PassWatch) -> Sampler | None:
        """Return what watches a step beside the title, for the limits of *watch* alone.

        It feeds a copy: guards are of the title's own time, and what the copy counted for
        them is asked by nobody.
        """
        return self._sampler(copy.deepcopy(watch)) if watch.limits else None

    def _sampler(self, watch: PassWatch, *, lines: Path | None = None) -> Sampler:
        return Sampler(
            sensors=self._sensors,
            clock=self._clock,
            watch=watch,
            lines=lines,
            follow=self._follow,
            on_sample=self.on_sample,
            interval_s=self._interval_s,
        )

    def _completed(self, end: CommandEnd, folder: AttemptFolder, title: Title) -> CommandEnd:
        """Gather the files of a pass that is over; say so where some still change."""
        collect(folder, title.collect, where=self._commands.folder)
        changing = wait_until_settled(folder, clock=self._clock, settle_s=self._patience.settle_s)
        if not changing:
            return end
        note = f"still changing after {self._patience.settle_s:g} s: {', '.join(changing)}"
        return replace(end, detail=f"{end.detail}; {note}".removeprefix("; "))

    def discard_kept(self) -> None:
        """Remove the folders of attempts that were handed over: their files are kept by now.

        Called at the start of every pass, and by whoever ends a run.
        """
        for path in self._kept:
            shutil.rmtree(path, ignore_errors=True)
        self._kept.clear()
