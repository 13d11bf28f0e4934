"""Jumps of the clock of the day, seen against the steady clock.

Touches nothing but through the clock's port. Durations and deadlines are never taken from the
clock of the day; instants are. A jump between two looks is what the one clock gained on the
other: a suspend moves both alike, a change of the zone or of summer time neither, and slewing
by a time service moves the two alike where the system has one rate for both (Linux).
"""

from __future__ import annotations

from datetime import datetime

from harness.run.ports import Clock

#: A smaller difference is no jump, s: from here on a time service steps the clock instead of
#: slewing it (RFC 5905, STEPT).
LEAST_JUMP_S = 0.128
#: Where the steady clock is not slewed with the other, no faster than this (RFC 5905, MAXFREQ).
_MOST_SLEW = 500e-6


class ClockWatch:
    """Looks at both clocks, and remembers its last look."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._now, self._steady_s = clock.now(), clock.steady_s()

    def look(self) -> float:
        """Return by how much the clock of the day jumped since the last look, s; mostly 0.

        Positive: it was set forward.
        """
        now, steady_s = self._clock.now(), self._clock.steady_s()
        by_s = self._gained_s(now, steady_s)
        self._now, self._steady_s = now, steady_s
        return by_s

    def _gained_s(self, now: datetime, steady_s: float) -> float:
        passed_s = steady_s - self._steady_s
        by_s = (now - self._now).total_seconds() - passed_s
        return by_s if abs(by_s) >= max(LEAST_JUMP_S, _MOST_SLEW * passed_s) else 0.0


def jump_words(by_s: float) -> str:
    """Return a jump as a person reads it.

    >>> jump_words(-7200.0)
    'the clock of the day was set back by 2 h 0 min 0.0 s'
    """
    whole = round(abs(by_s), 1)
    minutes, seconds = divmod(whole, 60.0)
    hours, minutes = divmod(int(minutes), 60)
    parts = [f"{hours} h"] if hours else []
    parts += [f"{minutes} min"] if hours or minutes else []
    size = " ".join([*parts, f"{seconds:.1f} s"])
    return f"the clock of the day was set {'forward' if by_s > 0 else 'back'} by {size}"
