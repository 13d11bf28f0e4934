"""Sees that the clock of the day was set, or that the machine was asleep, between two looks.

Pure. The clocks come in. Nothing that is due hangs on it: each look is whole in itself. But
whoever wonders why a night began late finds it written down.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Protocol

#: Less is a clock that is being put right little by little, seconds.
LEAST_S = 2.0


class Clocks(Protocol):
    """The clock of the day, the steady clock, and the one that stands still in a sleep."""

    def now(self) -> datetime:
        """Return the instant, aware."""
        ...

    def steady_s(self) -> float:
        """Return seconds on a clock that goes on while the machine is suspended."""
        ...

    def awake_s(self) -> float:
        """Return seconds on a clock that stands still meanwhile."""
        ...


class ClockJumps:
    """Compares the clocks from look to look."""

    def __init__(self, clocks: Clocks) -> None:
        self._clocks = clocks
        self._last = (clocks.now(), clocks.steady_s(), clocks.awake_s())

    def look(self) -> Iterator[tuple[str, dict[str, object]]]:
        """Yield what happened since the last look: a name, and what belongs to it."""
        now, steady_s, awake_s = self._clocks.now(), self._clocks.steady_s(), self._clocks.awake_s()
        then, then_steady_s, then_awake_s = self._last
        self._last = (now, steady_s, awake_s)
        passed_s = steady_s - then_steady_s
        by_s = (now - then) / timedelta(seconds=1) - passed_s
        slept_s = passed_s - (awake_s - then_awake_s)
        if slept_s >= LEAST_S:
            yield "the machine slept", {"seconds": round(slept_s, 1), "before": now.isoformat()}
        if abs(by_s) >= LEAST_S:
            was = (now - timedelta(seconds=by_s)).isoformat()
            yield "the clock was set", {"by_s": round(by_s, 1), "from": was, "to": now.isoformat()}
