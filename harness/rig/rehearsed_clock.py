"""The rehearsed clock: simulated time, which moves only when something waits.

Pure. It knows sleeps of the machine and waits without an end; it never looks at a real clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

Interrupt = Callable[[], bool]


class NobodyComes(Exception):
    """A rehearsal waits for a person, and no person is modelled."""


@dataclass(slots=True)
class RehearsedClock:
    """Simulated time: it moves only when something waits.

    ``person`` is called when a wait has no end of its own; it does what a person would do
    and returns the seconds that took, or None if nobody comes.
    """

    start: datetime = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)
    elapsed_s: float = 0.0
    person: Callable[[], float | None] = lambda: None
    #: An instant as the clock on the wall shows it in the zone of the plan's hours; where not
    #: given, that of ``start``.
    local: Callable[[datetime], datetime] = lambda instant: instant
    #: Told how long each wait was: what cools meanwhile cools in it.
    waited: Callable[[float], None] = lambda seconds: None
    #: Sleeps of the machine that are to come: (at, for), seconds, by the steady clock.
    sleeps: list[tuple[float, float]] = field(default_factory=list)
    _suspended_s: float = field(init=False, default=0.0)

    def now(self) -> datetime:
        """Return the simulated instant."""
        return self.start + timedelta(seconds=self.elapsed_s)

    def local_minute(self, zone: str = "") -> int:
        """Return the minute of the simulated local day; ``local`` knows its zone already."""
        now = self.local(self.now())
        return 60 * now.hour + now.minute

    def steady_s(self) -> float:
        """Return the simulated seconds since the start."""
        return self.elapsed_s

    def suspended_s(self) -> float:
        """Return how long the simulated machine was suspended."""
        return self._suspended_s

    def sleep_within(self, seconds: float) -> float | None:
        """Return after how many of *seconds* the machine falls asleep; None: it does not."""
        into = (at_s - self.elapsed_s for at_s, _ in self.sleeps)
        return min((each for each in into if 0.0 <= each < seconds), default=None)

    def sleep(self) -> float:
        """Let the machine sleep, now that its next sleep has come; return for how long."""
        at_s, for_s = min(each for each in self.sleeps if each[0] >= self.elapsed_s)
        self.sleeps.remove((at_s, for_s))
        self.elapsed_s += for_s
        self._suspended_s += for_s
        return for_s

    def wait(self, seconds: float, interrupt: Interrupt) -> bool:
        """Move on by *seconds*, or until a person has come where they are endless.

        Raises:
            NobodyComes: the wait is endless and nobody is modelled who would end it.
        """
        if interrupt():
            return False
        if seconds != float("inf"):
            asleep_s = self.sleep_within(seconds) if self.sleeps else None
            if asleep_s is not None:
                self.elapsed_s += asleep_s
                asleep_s += self.sleep()
                self.waited(asleep_s)
                return self.wait(max(0.0, seconds - asleep_s), interrupt)
            self.elapsed_s += seconds
            self.waited(seconds)
            return True
        took = self.person()
        if took is None:
            raise NobodyComes("the run waits for a person, and none is modelled")
        self.elapsed_s += took
        self.waited(took)
        return False
