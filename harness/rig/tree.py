"""Processes as the kernel shows them, named so that a stranger is never hit.

Touches processes. A process is its number *and* the tick it was started at: numbers are
used again. A signal is sent through a descriptor of the process, after its start was held
against what was recorded; within one boot that is who it was.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from harness.errors import printable

_PROC = Path("/proc")
_PART_BYTES = 16_384
_STAT_BYTES = 2_048  # proc_pid_stat(5): 52 numbers of at most 20 digits, and a name of 64 bytes
_SHOWN = 100  # characters of a command line in a message
TICKS_PER_S = os.sysconf("SC_CLK_TCK") if hasattr(os, "sysconf") else 100


@dataclass(frozen=True, slots=True)
class ProcessId:
    """Who a process is within one boot: its number, and the tick it was started at."""

    pid: int
    started_ticks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """One line of ``/proc/PID/stat``; times in clock ticks.

    ``own_ticks`` is processor time of the process, ``reaped_ticks`` of the children it has
    waited for, theirs included.
    """

    id: ProcessId
    name: str
    state: str
    parent: int
    own_ticks: int
    reaped_ticks: int

    @property
    def is_over(self) -> bool:
        """Return whether it has ended and only waits to be taken note of."""
        return self.state in "ZXx"


def parse_stat(text: bytes) -> Process:
    """Return one ``/proc/PID/stat``, as proc_pid_stat(5) lays it out.

    The name stands in brackets and may itself hold brackets and spaces.

    Raises:
        ValueError: it is not such a line.
    """
    start, end = text.index(b"("), text.rindex(b")")
    fields = text[end + 2 :].split()
    return Process(
        id=ProcessId(int(text[:start]), int(fields[19])),
        name=text[start + 1 : end].decode("utf-8", "replace"),
        state=fields[0].decode("ascii", "replace"),
        parent=int(fields[1]),
        own_ticks=int(fields[11]) + int(fields[12]),
        reaped_ticks=int(fields[13]) + int(fields[14]),
    )


def process(pid: int) -> Process | None:
    """Return the process, or None if there is none of that number."""
    try:
        descriptor = os.open(f"/proc/{pid}/stat", os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        # One line, and one read: asking for its end would cost a fifth more.
        text = os.read(descriptor, _STAT_BYTES)
    except OSError:
        return None
    finally:
        os.close(descriptor)
    return parse_stat(text) if text else None


def all_processes() -> dict[int, Process]:
    """Return every process by number. One read per process: never during a pass."""
    names = os.listdir("/proc")  # noqa: PTH208 - no object for each of them
    found = (process(int(name)) for name in names if name.isdigit())
    return {each.id.pid: each for each in found if each is not None}


def descendants(
    root: int,
    *,
    without: Collection[ProcessId] = (),
    among: Iterable[Process] | None = None,
) -> tuple[Process, ...]:
    """Return every process below *root*, parents first, leaving out the trees of *without*.

    With the root a subreaper this finds also those that left their session or their group.
    *among* are the processes there are, where they have just been looked at.
    """
    children: dict[int, list[Process]] = {}
    for each in all_processes().values() if among is None else among:
        children.setdefault(each.parent, []).append(each)
    found: list[Process] = []
    fresh = [root]
    while fresh:
        below = [child for pid in fresh for child in children.get(pid, ())]
        below = [child for child in below if child.id not in without]
        found += below
        fresh = [child.id.pid for child in below]
    return tuple(found)


def descendants_now(root: int, *, without: Collection[ProcessId] = ()) -> tuple[Process, ...]:
    """Return what :func:`descendants` does, from the kernel's own lists of children.

    That costs what the tree costs, not what the machine costs. While processes end, a list
    may leave one out that does not: good for ending a tree again and again, no proof that
    it is gone. Where the kernel keeps no such lists, every process is looked at.
    """
    if not os.path.exists(f"/proc/self/task/{os.getpid()}/children"):  # noqa: PTH110
        return descendants(root, without=without)
    found: list[Process] = []
    fresh = [root]
    while fresh:
        below = [process(number) for pid in fresh for number in _children(pid)]
        kept = [each for each in below if each is not None and each.id not in without]
        found += kept
        fresh = [each.id.pid for each in kept]
    return tuple(found)


def _children(pid: int) -> list[int]:
    """Return the numbers of a process's children; each belongs to the thread that made it."""
    numbers: list[int] = []
    with contextlib.suppress(OSError):
        for thread in os.listdir(f"/proc/{pid}/task"):  # noqa: PTH208 - no object for each
            numbers += map(int, _bytes(pid, f"task/{thread}/children").split())
    return numbers


def having_in_environment(
    variable: str, wanted: Callable[[str], bool], *, among: Iterable[Process] | None = None
) -> tuple[Process, ...]:
    """Return the processes whose environment holds *variable* with a *wanted* value.

    A process of another user cannot be looked into and is not found. *among* are the
    processes there are, where they have just been looked at.
    """
    start = variable.encode() + b"="
    found: list[Process] = []
    for each in all_processes().values() if among is None else among:
        for entry in _bytes(each.id.pid, "environ").split(b"\0"):
            if entry.startswith(start) and wanted(os.fsdecode(entry[len(start) :])):
                found.append(each)
                break
    return tuple(found)


def holding_open(path: Path) -> tuple[Process, ...]:
    """Return the processes that hold the file at *path* open, as far as they can be seen."""
    wanted = path.stat()
    found: list[Process] = []
    for each in all_processes().values():
        with contextlib.suppress(OSError):
            for entry in (_PROC / str(each.id.pid) / "fd").iterdir():
                with contextlib.suppress(OSError):
                    if os.path.samestat(entry.stat(), wanted):
                        found.append(each)
                        break
    return tuple(found)


def send(target: ProcessId, number: signal.Signals) -> bool:
    """Send a signal to exactly that process; return whether it was there and may be sent to.

    A process that has ended counts as not there.
    """
    try:
        descriptor = os.pidfd_open(target.pid)
    except OSError:
        return False
    try:
        found = process(target.pid)
        if found is None or found.id != target or found.is_over:
            return False
        signal.pidfd_send_signal(descriptor, number)
    except OSError:
        return False
    else:
        return True
    finally:
        os.close(descriptor)


def wait_until_ended(those: Sequence[Process], *, seconds: float) -> None:
    """Sleep until all of *those* have ended, at most *seconds*."""
    poll = select.poll()
    waiting: set[int] = set()
    deadline_s = time.monotonic() + seconds
    try:
        for each in those:
            with contextlib.suppress(OSError):  # it has ended, and was taken note of
                descriptor = os.pidfd_open(each.id.pid)
                waiting.add(descriptor)
                poll.register(descriptor, select.POLLIN)
        while waiting and (left_s := deadline_s - time.monotonic()) > 0:
            for descriptor, _ in poll.poll(int(left_s * 1000) + 1):
                poll.unregister(descriptor)
                waiting.discard(descriptor)
                os.close(descriptor)
    finally:
        for descriptor in waiting:
            os.close(descriptor)


def described(each: Process) -> str:
    """Return the process as a person reads it: number and command line."""
    line = os.fsdecode(_bytes(each.id.pid, "cmdline").replace(b"\0", b" ")).strip()
    text = printable(line or each.name)
    return f"process {each.id.pid} ({text[:_SHOWN]}{'…' if len(text) > _SHOWN else ''})"


def _bytes(pid: int, name: str) -> bytes:
    # Three times as quick as Path.read_bytes, and this is asked of every process there is.
    try:
        descriptor = os.open(f"/proc/{pid}/{name}", os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return b""
    try:
        parts = []
        while part := os.read(descriptor, _PART_BYTES):
            parts.append(part)
        return b"".join(parts)
    except OSError:
        return b""
    finally:
        os.close(descriptor)
