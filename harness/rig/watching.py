"""Sleep until a command has ended, or must be ended: the one place where the runner waits.

Touches processes. Nothing is polled that can wake the runner by itself; what cannot (files
that should grow) is looked at four times within the time it is given.
"""

from __future__ import annotations

import os
import select
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from harness.rig.clock import MachineClock
from harness.rig.process import Started
from harness.rig.stop import StopFlag
from harness.rig.tasks import EndedBy
from harness.rig.ways import Beside

Interrupt = Callable[[], bool]

#: Without an onlooker output is trimmed so often; with one the poll only guards against its loss.
_TRIM_EVERY_S, _GUARD_EVERY_S = 1.0, 5.0


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


@dataclass(slots=True, kw_only=True)
class Growth:
    """Files of which at least one must grow within a time.

    Args:
        paths: Files, or folders of files.
        within_s: How long none of them may grow.
        by: What it is called when that time is over.
    """

    paths: Sequence[Path]
    within_s: float
    by: EndedBy
    _size: int = field(init=False, default=-1)
    _grew_s: float = field(init=False, default=0.0)
    _next_s: float = field(init=False, default=0.0)

    def begin(self, now_s: float) -> None:
        """Count from now on."""
        self._size, self._grew_s = _size(self.paths), now_s
        self._next_s = now_s + self.within_s / 4

    def left_s(self, now_s: float) -> float:
        """Return how long it is until the next look."""
        return max(0.0, self._next_s - now_s)

    def is_over(self, now_s: float) -> bool:
        """Return whether none has grown for too long; looks where a look is due."""
        if now_s < self._next_s:
            return False
        size = _size(self.paths)
        if size != self._size:
            self._size, self._grew_s = size, now_s
        self._next_s = now_s + self.within_s / 4
        return now_s - self._grew_s >= self.within_s


def _size(paths: Sequence[Path]) -> int:
    total = 0
    for path in paths:
        try:
            if path.is_dir():
                inside = (Path(where) / name for where, _, names in os.walk(path) for name in names)
                # A new file is growth too, also while it is empty.
                total += sum(1 + each.lstat().st_size for each in inside)
            else:
                total += path.stat().st_size
        except OSError:  # it came or went between two looks
            continue
    return total


@dataclass(frozen=True, slots=True, kw_only=True)
class Watching:
    """What may end a command beside itself.

    Args:
        clock: For the time limit.
        deadline_s: When the time limit is over, on the steady clock.
        stop: Whether the runner is to stop.
        ask_every_s: A stop that cannot wake the runner is asked so often.
        flag: Wakes the runner when it is to stop.
        onlooker: Wakes it when a limit was passed.
        trim: Gives back to the disk what is over the ceiling of output.
        growths: Files that must grow.
        beside: A command that runs beside it; None: none does.
    """

    clock: MachineClock
    deadline_s: float
    stop: Interrupt
    ask_every_s: float
    flag: StopFlag | None = None
    onlooker: Onlooker | None = None
    trim: Callable[[], None] = lambda: None
    growths: Sequence[Growth] = ()
    beside: Beside | None = None

    def begin(self) -> None:
        """Count the times of growing from now on."""
        for growth in self.growths:
            growth.begin(self.clock.steady_s())

    def broken_off(self) -> bool:
        """Return whether waiting for what a command left behind is broken off."""
        return self.stop() or (self.onlooker is not None and self.onlooker.must_end())

    def why(self) -> EndedBy | None:
        """Return why the command must be ended now; None: it may go on."""
        if self.onlooker is not None and self.onlooker.must_end():
            return EndedBy.LIMIT
        if self.stop():
            return EndedBy.STOPPED
        if self.beside is not None and self.beside.ended_badly():
            return EndedBy.RECORDER
        now_s = self.clock.steady_s()
        if now_s >= self.deadline_s:
            return EndedBy.TIME_LIMIT
        return next((each.by for each in self.growths if each.is_over(now_s)), None)

    def sleep(self, descriptors: Collection[int], *, most_s: float = float("inf")) -> set[int]:
        """Sleep until something may have happened; return the *descriptors* that are ready.

        Args:
            descriptors: Of processes; ready means ended.
            most_s: Sleep no longer than this.
        """
        poll = select.poll()
        for descriptor in descriptors:
            poll.register(descriptor, select.POLLIN)
        if self.onlooker is not None:
            poll.register(self.onlooker.fileno(), select.POLLIN)
        if self.flag is not None:
            poll.register(self.flag, select.POLLIN)
        if self.beside is not None and self.beside.descriptor is not None:
            poll.register(self.beside.descriptor, select.POLLIN)
        now_s = self.clock.steady_s()
        every_s = _GUARD_EVERY_S if self.onlooker is not None else _TRIM_EVERY_S
        if self.flag is None:
            every_s = self.ask_every_s
        looks = (growth.left_s(now_s) for growth in self.growths)
        left_s = min(self.deadline_s - now_s, every_s, most_s, *looks)
        # Rounded up: a poll that ends too early would only be asked again.
        ready = {number for number, _ in poll.poll(int(max(0.0, left_s) * 1000) + 1)}
        if self.flag is not None and self.flag.fileno() in ready:
            self.flag.drain()
        if self.onlooker is None:
            self.trim()
        return ready & set(descriptors)

    def until_ended(self, descriptor: int) -> EndedBy | None:
        """Sleep until the process of *descriptor* has ended (None), or must be ended."""
        while True:
            why = self.why()
            if why is not None:
                return why
            if self.sleep((descriptor,)):
                return None
