"""The runner as a process of its own: started, heard, ended with all that it has started.

Touches processes. The daemon measures nothing. The runner is in a session of its own, so that
Ctrl-C in the daemon's terminal is the daemon's alone; it outlives a daemon that is killed, and
the next one takes it over. What it started and left is the daemon's to end: like the runner
itself, the daemon is a *subreaper*.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from harness.rig.clock import MachineClock
from harness.rig.ending import Tree
from harness.rig.locks import Owner, RunnerLock, runner_at_work
from harness.rig.tree import ProcessId, process, send
from harness.settings import TELL
from harness.watch.due import Opening
from harness.watch.events import Queued
from harness.watch.ports import Line

#: How many of the runners' own logs are kept, and how much of one is shown, bytes.
KEPT_LOGS, WORDS_BYTES = 20, 2000
_GRACE_S = 2.0


class ProcessRunners:
    """Starts ``harness run`` for the plans of the queue.

    Args:
        state: The folder of the rig's own state.
        strangers: Returns the numbers of the daemon's own children that are no runner's.
    """

    def __init__(self, state: Path, *, strangers: Callable[[], Sequence[int]] = tuple) -> None:
        self._state, self._strangers = state, strangers

    def start(self, opening: Opening) -> RunnerProcess:
        """Start a runner; see the port.

        Raises:
            OSError: the operating system refused, or the plan's folder is not there.
        """
        entry = opening.entry
        logs = self._state / "runners"
        logs.mkdir(parents=True, exist_ok=True)
        for old in sorted(logs.glob("*.log"), key=lambda path: path.stat().st_mtime)[:-KEPT_LOGS]:
            old.unlink(missing_ok=True)
        night = "".join(c if c.isalnum() or c in "-." else "-" for c in opening.night)
        number = len(list(logs.glob(f"{entry.entry}-{night}-*.log"))) + 1
        log = logs / f"{entry.entry}-{night}-{number}.log"
        until = ["--until", opening.end.isoformat()] if opening.end is not None else []
        read_fd, write_fd = os.pipe()
        try:
            with log.open("ab") as file:
                child = subprocess.Popen(
                    [
                        *(sys.executable, "-m", "harness", "run", entry.plan),
                        *("--store", entry.store, "--plain", *until),
                    ],
                    cwd=entry.folder,
                    env={**os.environ, TELL: str(write_fd)},
                    stdin=subprocess.DEVNULL,
                    stdout=file,
                    stderr=file,
                    pass_fds=(write_fd,),
                    start_new_session=True,
                )
        except OSError:
            os.close(read_fd)
            raise
        finally:
            os.close(write_fd)
        found = process(child.pid)
        who = found.id if found is not None else ProcessId(child.pid, 0)
        return RunnerProcess(
            self._state, who, child=child, told=read_fd, log=log, strangers=self._strangers
        )

    def at_work(self) -> str:
        """Return which runner has the rig, in words; empty: none."""
        owner = runner_at_work(self._state)
        return f"a runner is at work: process {owner.pid}, plan {owner.plan}" if owner else ""

    def take_over(self, entry: Queued) -> RunnerProcess | None:
        """Return the runner that carries *entry* out; None: it is not at work."""
        owner = runner_at_work(self._state)
        if owner is None or not carries_out(owner, entry):
            return None
        who = ProcessId(owner.pid, owner.started_ticks)
        return RunnerProcess(self._state, who, strangers=self._strangers)


def carries_out(owner: Owner, entry: Queued) -> bool:
    """Return whether *owner*, who has the rig, is a runner of *entry*'s plan into its store."""
    return owner.plan == entry.plan and owner.store in ("", entry.store)


class RunnerProcess:
    """One runner. Without *child* it is somebody else's, and its exit status is not seen."""

    def __init__(
        self,
        state: Path,
        who: ProcessId,
        *,
        child: subprocess.Popen[bytes] | None = None,
        told: int = -1,
        log: Path | None = None,
        strangers: Callable[[], Sequence[int]] = tuple,
    ) -> None:
        self.id = who
        self._state, self._child, self._told, self._log = state, child, told, log
        self._strangers = strangers
        self._rest = b""
        self._run = ""
        self._times = 0
        self._descriptor = -1
        with contextlib.suppress(OSError):  # it is gone already
            self._descriptor = os.pidfd_open(who.pid)
        if told >= 0:
            os.set_blocking(told, False)

    @property
    def described(self) -> str:
        """Return who it is, in words."""
        return f"process {self.id.pid}"

    @property
    def tells(self) -> bool:
        """Return whether it tells this daemon what it keeps."""
        return self._child is not None

    @property
    def run(self) -> str:
        """Return the run it carries out: as it told, or as it wrote down beside its lock."""
        if not self._run:
            owner = self._owner()
            self._run = owner.run if owner is not None else ""
        return self._run

    def _owner(self) -> Owner | None:
        owner = runner_at_work(self._state)
        ours = owner is not None and (owner.pid, owner.started_ticks) == (
            self.id.pid,
            self.id.started_ticks,
        )
        return owner if ours else None

    def descriptors(self) -> tuple[int, ...]:
        """Return what becomes readable when it tells something or ends."""
        return tuple(fd for fd in (self._descriptor, self._told) if fd >= 0)

    def is_over(self) -> bool:
        """Return whether it has ended."""
        if self._descriptor < 0:
            return True
        found = process(self.id.pid)
        if found is None or found.id != self.id:
            return True
        return bool(select.select([self._descriptor], [], [], 0)[0])

    def lines(self) -> Sequence[Line]:
        """Return what it told since it was last asked."""
        text = self._rest
        while self._told >= 0:
            try:
                part = os.read(self._told, 65_536)
            except BlockingIOError:
                break
            if not part:  # nobody holds the other end any more
                os.close(self._told)
                self._told = -1
            text += part
        *whole, self._rest = text.split(b"\n")
        found = [line for each in whole if (line := _line(each)) is not None]
        if found:
            self._run = found[-1].run
        return found

    def beat(self) -> int:
        """Return the time of its lock's file, which it touches at every step and sample."""
        try:
            return (self._state / RunnerLock.NAME).stat().st_mtime_ns
        except OSError:
            return 0

    def stop(self) -> None:
        """Ask it to stop; asked again, it is in a hurry."""
        self._times += 1
        send(self.id, signal.SIGTERM)

    def end(self) -> int | None:
        """End it and all that it has started; return its exit status, None if it is unknown."""
        if not self.is_over():
            send(self.id, signal.SIGKILL)
        status = None if self._child is None else self._child.wait()
        others = [found.id for pid in self._strangers() if (found := process(pid)) is not None]
        tree = Tree(clock=MachineClock(), strangers=others)
        tree.end(grace_s=_GRACE_S)
        self.lines()
        for descriptor in self.descriptors():
            os.close(descriptor)
        self._descriptor = self._told = -1
        return status

    def last_words(self) -> str:
        """Return the last it said."""
        if self._log is None:
            return "what it said went to the daemon before this one"
        with self._log.open("rb") as file:
            file.seek(max(0, self._log.stat().st_size - WORDS_BYTES))
            text = file.read().decode("utf-8", "replace").strip()
        return f"{text}\n(all of it: {self._log})"


def _line(text: bytes) -> Line | None:
    try:
        return Line(**json.loads(text))
    except (ValueError, TypeError):
        return None
