"""Jumps of the clock of the day and sleeps of the machine, seen against the steady clock.

Touches nothing but through the clock's port. Durations and deadlines are never taken from the
clock of the day; instants are. A jump between two looks is what the one clock gained on the
other: a suspend moves both alike, a change of the zone or of summer time neither, and slewing
by a time service moves the two alike where the system has one rate for both (Linux).

Between two runners of one boot the same holds, by what the first wrote down. From boot to boot
the steady clocks are not the same, and only an instant before the last one tells of a jump:
one forward is not to be told from a rig that was left alone.
"""

from __future__ import annotations

from datetime import datetime

from harness.rig.two_clocks import LEAST_SLEEP_S, at_one_moment
from harness.run.ports import Clock
from harness.run.records import ClockJumped, Clocks

#: A smaller difference is no jump, s: from here on a time service steps the clock instead of
#: slewing it (RFC 5905, STEPT).
LEAST_JUMP_S = 0.128
#: Where the steady clock is not slewed with the other, no faster than this (RFC 5905, MAXFREQ).
_MOST_SLEW = 500e-6


class ClockWatch:
    """Looks at both clocks, and remembers its last look."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._now, self._steady_s = _both(clock)
        self._suspended_s = clock.suspended_s()

    def look(self) -> float:
        """Return by how much the clock of the day jumped since the last look, s; mostly 0.

        Positive: it was set forward.
        """
        now, steady_s = _both(self._clock)
        by_s = self._gained_s(now, steady_s)
        self._now, self._steady_s = now, steady_s
        return by_s

    def slept_s(self) -> float:
        """Return how long the machine was suspended since this was last asked, s; mostly 0."""
        before_s, self._suspended_s = self._suspended_s, self._clock.suspended_s()
        slept_s = self._suspended_s - before_s
        return slept_s if slept_s >= LEAST_SLEEP_S else 0.0

    def _gained_s(self, now: datetime, steady_s: float) -> float:
        passed_s = steady_s - self._steady_s
        return _jump_s((now - self._now).total_seconds() - passed_s, passed_s=passed_s)


def _both(clock: Clock) -> tuple[datetime, float]:
    """Return the clock of the day and the steady one as they were at one moment."""
    steady_s, now = at_one_moment(clock.steady_s, clock.now)
    return now, steady_s


def _jump_s(by_s: float, *, passed_s: float) -> float:
    """Return *by_s* where it is a jump, and no slewing in *passed_s*; else 0."""
    return by_s if abs(by_s) >= max(LEAST_JUMP_S, _MOST_SLEW * passed_s) else 0.0


def clocks_now(clock: Clock, *, boot: str) -> Clocks:
    """Return both clocks as they are now."""
    now, steady_s = _both(clock)
    return Clocks(boot=boot, day_s=now.timestamp(), steady_s=steady_s)


def jumped_unwatched(
    before: Clocks | None, now: Clocks | None, *, last_at: datetime | None
) -> tuple[ClockJumped, ...]:
    """Return the jump of the clock of the day while no runner was there to see it, if any.

    Args:
        before: The clocks as the runner before found them, with every jump it saw since.
        now: The clocks now.
        last_at: The instant of the run's last entry.
    """
    if now is None:
        return ()
    if before is not None and now.boot and now.boot == before.boot:
        passed_s = now.steady_s - before.steady_s
        by_s = _jump_s(now.day_s - before.day_s - passed_s, passed_s=passed_s)
        return (ClockJumped(by_s=by_s, unwatched=True),) if by_s else ()
    by_s = 0.0 if last_at is None else now.day_s - last_at.timestamp()
    if by_s > -LEAST_JUMP_S:
        return ()
    return (ClockJumped(by_s=by_s, unwatched=True, at_least=True),)


def sleep_words(slept_s: float) -> str:
    """Return a sleep of the machine as a person reads it.

    >>> sleep_words(3600.0)
    'the machine was suspended for 1 h 0 min 0.0 s'
    """
    return f"the machine was suspended for {_length(slept_s)}"


def jump_words(by_s: float, *, at_least: bool = False) -> str:
    """Return a jump as a person reads it.

    >>> jump_words(-7200.0)
    'the clock of the day was set back by 2 h 0 min 0.0 s'
    """
    way = "forward by" if by_s > 0 else "back by"
    least = " at least" if at_least else ""
    return f"the clock of the day was set {way}{least} {_length(abs(by_s))}"


def _length(seconds: float) -> str:
    minutes, rest = divmod(round(seconds, 1), 60.0)
    hours, minutes = divmod(int(minutes), 60)
    parts = [f"{hours} h"] if hours else []
    parts += [f"{minutes} min"] if hours or minutes else []
    return " ".join([*parts, f"{rest:.1f} s"])
