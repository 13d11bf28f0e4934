"""Which other processes were at work during a pass: a look before it and a look after it.

Touches processes. A look at every process costs some 20 µs for each, so there is none in the
middle of a pass, and none at all where no guard speaks of the load of others. What started
and ended in between is not seen; the reading ``cpu.load.others`` counts it all the same.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Collection, Mapping

from harness.rig.tasks import OtherLoad
from harness.rig.tree import TICKS_PER_S, Process, ProcessId, all_processes, descendants

#: Guards on these want to know who it was.
WANTED_BY = frozenset({"cpu.load", "cpu.load.others"})
#: So many are named.
NAMED = 3
#: A smaller share of all processors' time is not worth a name.
LEAST_SHARE = 0.005


def _everything() -> Collection[Process]:
    try:
        return all_processes().values()
    except OSError:  # a system without /proc: nobody is named
        return ()


def _family() -> frozenset[int]:
    """Return the numbers of this process and of all it has started."""
    own = os.getpid()
    return frozenset({own, *(each.id.pid for each in descendants(own))})


class OtherProcesses:
    """Looks when it is made and when it is asked. Used once.

    Args:
        watched: Names of the readings that the guards of the pass speak of.
        look: Returns every process there is.
        family: Returns the numbers of this process and of all it has started.
        steady_s: The clock.
        cores: How many processors there are.
    """

    def __init__(
        self,
        watched: Collection[str],
        *,
        look: Callable[[], Collection[Process]] = _everything,
        family: Callable[[], frozenset[int]] = _family,
        steady_s: Callable[[], float] = time.monotonic,
        cores: int | None = None,
    ) -> None:
        self._look, self._family, self._steady_s = look, family, steady_s
        self._cores = cores or os.cpu_count() or 1
        self._before: Mapping[ProcessId, int] | None = None
        if WANTED_BY & set(watched):
            self._before = {each.id: each.own_ticks for each in look()}
        self._started_s = steady_s()

    def after(self, *, most: int = NAMED) -> tuple[OtherLoad, ...]:
        """Return the busiest other processes since the look before, at most so many."""
        before = self._before
        took_s = self._steady_s() - self._started_s
        if before is None or took_s <= 0:
            return ()
        those, family = self._look(), self._family()
        whole = took_s * self._cores * TICKS_PER_S
        found = [
            OtherLoad(
                name=each.name,
                pid=each.id.pid,
                share=(each.own_ticks - before.get(each.id, 0)) / whole,
            )
            for each in those
            if each.id.pid not in family
        ]
        found.sort(key=lambda other: (-other.share, other.pid))
        return tuple(other for other in found[:most] if other.share >= LEAST_SHARE)
