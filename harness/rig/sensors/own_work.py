"""Processor time of the title's own processes, without looking at all the others.

Touches processes. A look at every process costs some 20 µs for each, in the middle of a pass.
So only the known ones are read, and those started since the look before: the kernel counts
the numbers it gives out, and shows the last one. What the known ones have waited for is in
their own count; what only the runner has waited for is in the runner's.
"""

from __future__ import annotations

import os
import resource
from collections.abc import Callable
from pathlib import Path

from harness.rig.sensors.kept import KeptFile
from harness.rig.tree import TICKS_PER_S, Process, descendants, process

#: More new numbers than this between two looks, and one look at everything is cheaper.
MANY_NEW = 512


def _own_s() -> float:
    return _spent_s(resource.getrusage(resource.RUSAGE_SELF))


def _waited_s() -> float:
    return _spent_s(resource.getrusage(resource.RUSAGE_CHILDREN))


def _spent_s(usage: resource.struct_rusage) -> float:
    return usage.ru_utime + usage.ru_stime


def _newest_from(file: KeptFile) -> Callable[[], int]:
    # proc_loadavg(5): the fifth field is the number of the process most recently created.
    return lambda: int(file.read().split()[4])


def _is_process(number: int) -> bool:
    """Return whether *number* is a process, and not a thread of one."""
    try:
        text = Path(f"/proc/{number}/status").read_bytes()
    except OSError:
        return False
    start = text.find(b"\nTgid:")
    return start >= 0 and int(text[start + 6 : start + 24].split()[0]) == number


class OwnWork:
    """Counts the processor time of a tree of processes and of the harness itself.

    Args:
        read: Reads one process.
        newest: Returns the last process number that was given out; None: the kernel says.
        harness_s: Returns the processor time of this process, seconds.
        waited_s: Returns that of every child this process has waited for, seconds.
    """

    def __init__(
        self,
        *,
        read: Callable[[int], Process | None] = process,
        newest: Callable[[], int] | None = None,
        harness_s: Callable[[], float] = _own_s,
        waited_s: Callable[[], float] = _waited_s,
    ) -> None:
        self._read = read
        self._newest_number = newest or _newest_from(KeptFile(Path("/proc/loadavg"), size=128))
        self._harness_s, self._waited_s = harness_s, waited_s
        self._known: dict[int, Process] = {}
        self._newest = 0
        self._runner = os.getpid()

    def follow(self, root: int | None) -> None:
        """Count the tree of *root* from now on; None: there is none."""
        self._known = {}
        if root is not None:
            found = self._read(root)
            if found is not None:
                self._known[root] = found
            self._newest = root

    def spent_s(self) -> float:
        """Return the processor time spent so far, seconds. Only differences mean anything."""
        if self._known:
            self._discover()
        ticks = 0
        for pid, before in tuple(self._known.items()):
            found = self._read(pid)
            if found is None or found.id != before.id:
                del self._known[pid]
                continue
            ticks += found.own_ticks + found.reaped_ticks
        return self._harness_s() + self._waited_s() + ticks / TICKS_PER_S

    def _discover(self) -> None:
        """Take up what was started since the look before, parents first."""
        last, self._newest = self._newest, self._newest_number()
        if self._newest == last:
            return
        if not last < self._newest <= last + MANY_NEW:
            # The numbers began anew, or there are too many to try.
            for each in descendants(self._runner):
                self._known.setdefault(each.id.pid, each)
            return
        for number in range(last + 1, self._newest + 1):
            found = self._read(number)
            if found is None or number in self._known or not _is_process(number):
                continue
            if found.parent in self._known or found.parent == self._runner:
                self._known[number] = found
