"""Start one command: its own session, no terminal, output to files, tied to the runner.

Touches processes. See ``harness.rig.launcher`` for what happens between the start of the
process and the start of the command.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from harness.rig.tree import ProcessId, process

#: Names the run and the attempt a process belongs to, in its environment.
TOKEN = "HARNESS_RUN_TOKEN"

_LAUNCHER = Path(__file__).with_name("launcher.py")


@dataclass(frozen=True, slots=True, kw_only=True)
class Inherited:
    """What a command is given back of what the runner may have changed for itself."""

    cores: frozenset[int]
    niceness: int


def inherited() -> Inherited:
    """Return the affinity and niceness of this process, as a command should have them."""
    return Inherited(
        cores=frozenset(os.sched_getaffinity(0)),
        niceness=os.getpriority(os.PRIO_PROCESS, 0),
    )


def keep_to_last_core() -> None:
    """Keep this process to the last of its cores, where it has more than two.

    The title then has a core less that is ever disturbed, and is itself free to use all.
    """
    cores = os.sched_getaffinity(0)
    if len(cores) > 2:
        os.sched_setaffinity(0, {max(cores)})


def share_cores_of(pid: int) -> None:
    """Let this thread, and no other, run wherever process *pid* may: the kernel picks an idle core.

    A thread that is kept to one core interrupts whatever is busy there. Seen on a machine of 16
    cores: 0.8 ms of a title's frames at each look taken on its core, nothing on any idle one.
    """
    with contextlib.suppress(OSError):  # it has ended already
        os.sched_setaffinity(0, os.sched_getaffinity(pid))


def keep_descriptors() -> None:
    """Keep every descriptor that this process was itself given from the commands it starts.

    A command that is left behind would else hold open whatever the runner was started with,
    such as the pipe its output is read from.
    """
    for descriptor in [int(path.name) for path in Path("/proc/self/fd").iterdir()]:
        if descriptor > 2:
            with contextlib.suppress(OSError):  # the one that listed them is closed again
                os.set_inheritable(descriptor, False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A command that runs. ``started_s`` is on the steady clock; the descriptor is ours."""

    id: ProcessId
    descriptor: int
    started_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NotStarted:
    """The operating system refused. ``errno`` is its number, ``stage`` what was tried."""

    errno: int
    stage: str


def start(
    argv: Sequence[str],
    *,
    folder: Path,
    environment: Mapping[str, str],
    stdout: Path,
    stderr: Path,
    handed_over: int,
    given: Inherited,
    entrance: str = "",
) -> Started | NotStarted:
    """Start *argv* in *folder*; return when it runs, or why it does not.

    Must be called on the main thread: the command dies with the *thread* that started it.

    Args:
        argv: The filled command; its first part is looked up in ``PATH``.
        folder: Working folder of the command.
        environment: All of its environment.
        stdout: File for its output; appended to.
        stderr: File for its errors; appended to.
        handed_over: Descriptor the command inherits (the rig lock); closed here.
        given: Affinity and niceness of the command.
        entrance: File by which it joins a net of its own before it starts; empty: none.
    """
    read_fd, write_fd = os.pipe()
    try:
        append = os.O_WRONLY | os.O_CREAT | os.O_APPEND
        for descriptor in (write_fd, handed_over):
            os.set_inheritable(descriptor, True)
        arguments = [
            sys.executable,
            "-I",
            "-S",
            str(_LAUNCHER),
            str(write_fd),
            str(os.getpid()),
            ",".join(map(str, sorted(given.cores))),
            str(given.niceness),
            entrance,
            str(folder),
            *argv,
        ]
        try:
            pid = os.posix_spawn(
                sys.executable,
                arguments,
                dict(environment),
                setsid=True,
                setsigmask=(),
                file_actions=(
                    (os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0),
                    (os.POSIX_SPAWN_OPEN, 1, str(stdout), append, 0o644),
                    (os.POSIX_SPAWN_OPEN, 2, str(stderr), append, 0o644),
                ),
            )
        except (OSError, ValueError) as error:
            number = error.errno if isinstance(error, OSError) and error.errno else 22
            return NotStarted(errno=number, stage="spawn")
        finally:
            os.close(write_fd)
            os.close(handed_over)
        return _answer(pid, _all(read_fd))
    finally:
        os.close(read_fd)


def _answer(pid: int, said: bytes) -> Started | NotStarted:
    words = said.split()
    if b"failed" in words or b"started" not in words:
        os.waitpid(pid, 0)
        number, stage = (int(words[-2]), words[-1].decode()) if b"failed" in words else (0, "tie")
        return NotStarted(errno=number, stage=stage)
    found = process(pid)
    return Started(
        id=found.id if found is not None else ProcessId(pid, 0),
        descriptor=os.pidfd_open(pid),
        started_s=int(words[1]) / 1e9,
    )


def _all(descriptor: int) -> bytes:
    parts = []
    while part := os.read(descriptor, 512):
        parts.append(part)
    return b"".join(parts)
