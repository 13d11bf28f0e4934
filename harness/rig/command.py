"""Carry out one command to its end, and to the proof that nothing of it is left.

Touches processes. While the command runs the runner sleeps: it is woken by the end of the
command, by a stop, by a limit that was passed, or when the time is up.
"""

from __future__ import annotations

import errno
import os
import select
import signal
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from harness.rig.clock import MachineClock
from harness.rig.ending import Tree, end_left_over
from harness.rig.locks import RigLock
from harness.rig.output import OutputFiles
from harness.rig.process import TOKEN, Inherited, NotStarted, Started, start
from harness.rig.stop import StopFlag
from harness.rig.tasks import CommandEnd, EndedBy
from harness.rig.tree import ProcessId, described, holding_open

Interrupt = Callable[[], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long the bench waits for what, seconds.

    ``grace_s``: between TERM and KILL. ``linger_s``: what a command left behind may go on
    after it (a helper that completes a file). ``settle_s``: files may still change.
    """

    grace_s: float = 5.0
    linger_s: float = 5.0
    settle_s: float = 5.0
    ask_every_s: float = 0.1  #: a stop that cannot wake the runner is asked so often


class Onlooker(Protocol):
    """Watches the rig while a command runs: the sampler."""

    def begin(self, started: Started, *, each_tick: Callable[[], None]) -> None:
        """Start watching."""

    def fileno(self) -> int:
        """Return a descriptor that becomes readable when the command is to be ended."""

    def must_end(self) -> bool:
        """Return whether the command is to be ended at once."""

    def finish(self) -> None:
        """Stop watching."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Commands:
    """Starts commands on a rig, one at a time.

    Args:
        lock: The rig lock, handed over to each command.
        clock: For time limits.
        given: Affinity and niceness of a command.
        folder: Where commands run, and what relative paths in a plan are relative to.
        patience: How long to wait for what.
        flag: Wakes the runner when it is to stop; None: the stop is asked again and again.
        strangers: Children of the runner that are none of ours.
    """

    lock: RigLock
    clock: MachineClock
    given: Inherited
    folder: Path
    patience: Patience = Patience()
    flag: StopFlag | None = None
    strangers: frozenset[ProcessId] = frozenset()

    def carry_out(
        self,
        argv: Sequence[str],
        *,
        time_limit_s: float,
        token: str,
        stdout: Path,
        stderr: Path,
        stop: Interrupt,
        onlooker: Onlooker | None = None,
        environment: Mapping[str, str] | None = None,
    ) -> CommandEnd:
        """Carry one filled command out; return how it ended.

        Never raises for what a command does. ``wall_s`` is from the start of the command
        itself to its own end; ``survivors`` is empty only where quiet was proved.
        """
        end = CommandEnd(argv=tuple(argv), by=EndedBy.NOT_STARTED, wall_s=0.0)
        handed_over = self.lock.take()
        if handed_over is None:
            who = tuple(described(each) for each in holding_open(self.lock.path))
            return replace(
                end,
                detail="an earlier command is still running on this rig",
                survivors=who or ("a process that cannot be seen from here",),
            )
        started = start(
            argv,
            folder=self.folder,
            environment={**(environment if environment is not None else os.environ), TOKEN: token},
            stdout=stdout,
            stderr=stderr,
            handed_over=handed_over,
            given=self.given,
        )
        if isinstance(started, NotStarted):
            return _refused(end, started, self.folder)
        output = OutputFiles((stdout, stderr))
        tree = Tree(clock=self.clock, strangers=self.strangers)
        try:
            if onlooker is not None:
                onlooker.begin(started, each_tick=output.trim)
            end = self._to_its_end(end, started, tree, time_limit_s, stop, onlooker, output)
        finally:
            # Also when something of ours failed: a command is never left running.
            tree.end(grace_s=0.0)
            os.close(started.descriptor)
            if onlooker is not None:
                onlooker.finish()
        survivors = end_left_over(tree, token=token, lock=self.lock)
        return replace(end, survivors=survivors, dropped_output_bytes=output.close())

    def _to_its_end(
        self,
        end: CommandEnd,
        started: Started,
        tree: Tree,
        time_limit_s: float,
        stop: Interrupt,
        onlooker: Onlooker | None,
        output: OutputFiles,
    ) -> CommandEnd:
        by = self._watch(started, time_limit_s, stop, onlooker, output)
        if by is not None:
            grace_s = 0.0 if by is EndedBy.LIMIT else self.patience.grace_s
            sent = tree.end(grace_s=grace_s, hurry=self._in_a_hurry)
            wall_s = self.clock.steady_s() - started.started_s
            tree.status_of(started.id.pid)
            return replace(end, by=by, wall_s=wall_s, detail=sent)
        wall_s = self.clock.steady_s() - started.started_s
        status = tree.status_of(started.id.pid)
        end = replace(end, wall_s=wall_s)
        if os.WIFSIGNALED(status):
            end = replace(end, by=EndedBy.SIGNAL, signal=_signal_name(os.WTERMSIG(status)))
        else:
            end = replace(end, by=EndedBy.EXIT, status=os.WEXITSTATUS(status))
        return replace(end, detail=self._after_it(tree, stop, onlooker))

    def _watch(
        self,
        started: Started,
        time_limit_s: float,
        stop: Interrupt,
        onlooker: Onlooker | None,
        output: OutputFiles,
    ) -> EndedBy | None:
        """Sleep until the command ends (None), or must be ended."""
        poll = select.poll()
        poll.register(started.descriptor, select.POLLIN)
        if onlooker is not None:
            poll.register(onlooker.fileno(), select.POLLIN)
        if self.flag is not None:
            poll.register(self.flag, select.POLLIN)
        every_s = self.patience.ask_every_s if self.flag is None else 5.0 if onlooker else 1.0
        deadline_s = started.started_s + time_limit_s
        while True:
            if onlooker is not None and onlooker.must_end():
                return EndedBy.LIMIT
            if stop():
                return EndedBy.STOPPED
            left_s = deadline_s - self.clock.steady_s()
            if left_s <= 0:
                return EndedBy.TIME_LIMIT
            # Rounded up: a poll that ends too early would only be asked again.
            ready = dict(poll.poll(int(min(left_s, every_s) * 1000) + 1))
            if started.descriptor in ready:
                return None
            if self.flag is not None and self.flag.fileno() in ready:
                self.flag.drain()
            if onlooker is None:
                output.trim()

    def _after_it(self, tree: Tree, stop: Interrupt, onlooker: Onlooker | None) -> str:
        """Let what the command left behind end by itself, for a while; say if it did not."""

        def enough() -> bool:
            return stop() or (onlooker is not None and onlooker.must_end())

        left = tree.wait_until_gone(self.patience.linger_s, broken_off=enough)
        if not left:
            return ""
        names = ", ".join(described(each) for each in left)
        sent = tree.end(grace_s=self.patience.grace_s, hurry=enough)
        return f"left behind and ended: {names}; {sent}"

    def _in_a_hurry(self) -> bool:
        return self.flag is not None and self.flag.in_a_hurry


def _refused(end: CommandEnd, refused: NotStarted, folder: Path) -> CommandEnd:
    """Return how a command ended that was never started."""
    word = os.strerror(refused.errno) if refused.errno else "the launcher ended without a word"
    if refused.stage == "folder":
        return replace(end, detail=f"the folder it should run in cannot be used: {word}: {folder}")
    if refused.stage != "start":
        return replace(end, detail=f"{word} (at the step: {refused.stage})")
    match refused.errno:
        case errno.ENOENT | errno.ENOTDIR:
            by = EndedBy.NOT_FOUND
            where = f"PATH: {os.environ.get('PATH', '')}" if "/" not in end.argv[0] else str(folder)
            word = f"{word}: {end.argv[0]} (looked in {where})"
        case errno.EACCES | errno.ENOEXEC | errno.EPERM:
            by = EndedBy.NOT_EXECUTABLE
            word = f"{word}: {end.argv[0]}"
        case _:
            by = EndedBy.NOT_STARTED
    return replace(end, by=by, detail=word)


def _signal_name(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return f"signal {number}"
