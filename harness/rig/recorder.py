"""The recorder: a second command that records while the title runs.

Touches processes. It is started first, so that it misses nothing of the title, and told to end
(TERM) once the title has ended, since only the runner knows that. One that ends well before
the title has recorded what it wanted; one that fails ends the pass at once, for there is
nothing left to wait for.
"""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from harness.rig.command import Commands, Interrupt, Running, signal_name
from harness.rig.ending import Tree, end_left_over
from harness.rig.tasks import CommandEnd, EndedBy
from harness.rig.tree import ProcessId, send
from harness.rig.watching import Onlooker

#: Statuses of a program that was told to end and says so: 128 and the number of the signal,
#: as shells do (POSIX, Shell Command Language, 2.8.2).
_TOLD = {128 + signal.SIGTERM, 128 + signal.SIGINT}


@dataclass(slots=True, kw_only=True)
class Recording:
    """A recorder that was started. Fits ``harness.rig.ways.Beside``."""

    commands: Commands
    running: Running
    token: str
    _status: int | None = None
    _ended_s: float = 0.0

    @property
    def id(self) -> ProcessId:
        """Return who it is."""
        return self.running.started.id

    @property
    def descriptor(self) -> int | None:
        """Return what becomes readable when it ends; None once that has been noted."""
        return None if self._over() else self.running.started.descriptor

    def ended_badly(self) -> bool:
        """Return whether it has ended, and not well."""
        return self._over() and self._status != 0

    def _over(self) -> bool:
        if self._status is None:
            with contextlib.suppress(ChildProcessError):
                pid, status = os.waitpid(self.id.pid, os.WNOHANG)
                if pid:
                    self._status, self._ended_s = status, self.commands.clock.steady_s()
        return self._status is not None

    def finish(
        self, *, time_limit_s: float, stop: Interrupt, onlooker: Onlooker | None
    ) -> CommandEnd:
        """Tell it to end, and wait until it has; return how it ended.

        Args:
            time_limit_s: How long it may take, from now.
            stop: Whether the runner is to stop.
            onlooker: Watches the rig meanwhile.
        """
        commands, started = self.commands, self.running.started
        end = CommandEnd(argv=self.running.argv, by=EndedBy.EXIT, wall_s=0.0)
        tree = Tree(clock=commands.clock, strangers=commands.strangers, net=self.running.net)
        told = not self._over()
        by, detail = None, ""
        try:
            if onlooker is not None:
                onlooker.begin(started, each_tick=self.running.output.trim)
            if told:
                send(self.id, signal.SIGTERM)
                send(self.id, signal.SIGCONT)
                watching = commands.watching(
                    deadline_s=commands.clock.steady_s() + time_limit_s,
                    stop=stop,
                    onlooker=onlooker,
                    output=self.running.output,
                )
                by = watching.until_ended(started.descriptor)
                if by is not None:
                    detail = tree.end(grace_s=0.0)
                self._status = tree.status_of(self.id.pid)
                self._ended_s = commands.clock.steady_s()
            if by is None:
                detail = commands.after_it(tree, stop)
        finally:
            tree.end(grace_s=0.0)
            os.close(started.descriptor)
            if onlooker is not None:
                onlooker.finish()
        survivors = end_left_over(tree, token=self.token, lock=commands.lock)
        if self.running.net is not None:
            self.running.net.close()
        return replace(
            _ended(end, by, self._status or 0, told=told),
            wall_s=self._ended_s - started.started_s,
            detail=detail,
            survivors=survivors,
            dropped_output_bytes=self.running.output.close(),
        )


def _ended(end: CommandEnd, by: EndedBy | None, status: int, *, told: bool) -> CommandEnd:
    """Return *end* as it came about; one that obeyed the order to end has ended well."""
    if by is not None:
        return replace(end, by=by)
    if os.WIFSIGNALED(status):
        number = os.WTERMSIG(status)
        if told and number == signal.SIGTERM:
            return replace(end, by=EndedBy.EXIT, status=0)
        return replace(end, by=EndedBy.SIGNAL, signal=signal_name(number))
    exit_status = os.WEXITSTATUS(status)
    return replace(end, status=0 if told and exit_status in _TOLD else exit_status)


def record(
    argv: Sequence[str], *, commands: Commands, token: str, stdout: Path, stderr: Path, held: int
) -> Recording | CommandEnd:
    """Start the recorder; return it, or why it was not started.

    Args:
        argv: The filled command.
        commands: Starts it.
        token: The token of the pass.
        stdout: File for its output.
        stderr: File for its errors.
        held: A descriptor of the rig lock, which it holds together with the title.
    """
    running = commands.begin(argv, token=token, stdout=stdout, stderr=stderr, held=held)
    if isinstance(running, CommandEnd):
        return running
    return Recording(commands=commands, running=running, token=token)
