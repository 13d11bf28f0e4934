"""Processor time of the title's own processes, without looking at all the others.

Touches processes. A look at every process costs some 20 µs for each, in the middle of a pass.
So only the known ones are read, and those started since the look before: the kernel counts
the numbers it gives out, and shows the last one. What the known ones have waited for is in
their own count; what only the runner has waited for is in the runner's.

The title begins a session of its own, and so does whatever leaves it: a session is either all of
the title's tree or all of strangers, and one stranger in it is enough to tell. Asking for the
session of a process costs a tenth of reading it.
"""

from __future__ import annotations

import os
import resource
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from harness.rig.sensors.kept import KeptFile
from harness.rig.tree import TICKS_PER_S, Process, ProcessId, descendants, parse_stat, process

#: More new numbers than this between two looks, and one look at everything is cheaper.
MANY_NEW = 512
#: The files of so many processes are kept open; those of more are opened at each look.
MOST_KEPT = 64


def _waited_s() -> float:
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def _session(number: int) -> int | None:
    try:
        return os.getsid(number)
    except OSError:
        return None


def _newest_from(file: KeptFile) -> Callable[[], int]:
    # proc_loadavg(5): the fifth field is the number of the process most recently created.
    return lambda: int(file.read().split()[4])


def _is_process(number: int) -> bool:
    """Return whether *number* is a process, and not a thread of one: pidfd_open(2) knows."""
    try:
        os.close(os.pidfd_open(number))
    except OSError:
        return False
    return True


def ticks_of(who: ProcessId) -> Callable[[], int | None]:
    """Return what gives a process's processor time, and that of the children it has waited for.

    In ticks; None once it is gone. Its file is kept open: that costs a quarter of opening it
    at every look, and a number that is used again by a stranger cannot be mistaken for it.
    """
    try:
        file = KeptFile(Path(f"/proc/{who.pid}/stat"), size=1024)
        is_it = parse_stat(file.read()).id == who
    except (OSError, ValueError):
        is_it = False

    def read() -> int | None:
        try:
            text = file.read()
        except OSError:
            return None  # proc(5): ESRCH once it was waited for
        fields = text[text.rindex(b")") + 2 :].split(None, 15)
        return int(fields[11]) + int(fields[12]) + int(fields[13]) + int(fields[14])

    return read if is_it else _gone


def _gone() -> int | None:
    return None


class OwnWork:
    """Counts the processor time of a tree of processes and of the harness itself.

    Args:
        read: Reads one process.
        ticks: Returns what gives the processor time of one, ticks; None from it: it is gone.
        newest: Returns the last process number that was given out; None: the kernel says.
        harness_s: Returns the processor time of this process, seconds.
        waited_s: Returns that of every child this process has waited for, seconds.
        session: Returns the session of a process; None: it is gone.
    """

    def __init__(
        self,
        *,
        read: Callable[[int], Process | None] = process,
        ticks: Callable[[ProcessId], Callable[[], int | None]] = ticks_of,
        newest: Callable[[], int] | None = None,
        harness_s: Callable[[], float] = time.process_time,
        waited_s: Callable[[], float] = _waited_s,
        session: Callable[[int], int | None] = _session,
    ) -> None:
        self._read, self._ticks = read, ticks
        self._newest_number = newest or _newest_from(KeptFile(Path("/proc/loadavg"), size=128))
        self._harness_s, self._waited_s = harness_s, waited_s
        self._session = session
        self._known: dict[int, Callable[[], int | None]] = {}
        self._foreign: set[int] = set()
        self._newest = 0
        self._runner = os.getpid()

    def follow(self, root: int | None) -> None:
        """Count the tree of *root* from now on; None: there is none."""
        self._known = {}
        self._foreign.clear()
        if root is not None:
            found = self._read(root)
            if found is not None:
                self._take_up(found.id)
            self._newest = root

    def spent_s(self) -> float:
        """Return the processor time spent so far, seconds. Only differences mean anything."""
        if self._known:
            self._discover()
        ticks = 0
        for pid, spent in tuple(self._known.items()):
            found = spent()
            if found is None:
                del self._known[pid]
            else:
                ticks += found
        return self._harness_s() + self._waited_s() + ticks / TICKS_PER_S

    def _discover(self) -> None:
        """Take up what was started since the look before, parents first."""
        last, self._newest = self._newest, self._newest_number()
        if self._newest == last:
            return
        if not last < self._newest <= last + MANY_NEW:
            # The numbers began anew, or there are too many to try.
            self._foreign.clear()
            for each in descendants(self._runner):
                if each.id.pid not in self._known:
                    self._take_up(each.id)
            return
        for number in range(last + 1, self._newest + 1):
            session = self._session(number)
            if session is None or session in self._foreign or number in self._known:
                continue
            found = self._read(number)
            if found is None:
                continue
            if found.parent not in self._known and found.parent != self._runner:
                self._foreign.add(session)
            elif _is_process(number):
                self._take_up(found.id)

    def _take_up(self, who: ProcessId) -> None:
        keep = len(self._known) < MOST_KEPT
        self._known[who.pid] = self._ticks(who) if keep else partial(self._looked_up, who)

    def _looked_up(self, who: ProcessId) -> int | None:
        found = self._read(who.pid)
        if found is None or found.id != who:
            return None
        return found.own_ticks + found.reaped_ticks
