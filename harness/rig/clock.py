"""The machine's clock: the steady clock, the instant, waits that can be broken off.

Touches the clock. This is the one module that asks the machine for the time.

Durations and deadlines are taken on a clock that goes on while the machine is suspended
(CLOCK_BOOTTIME), where the system has one; else on the monotonic clock. The difference of
the two is how long the machine was suspended.
"""

from __future__ import annotations

import math
import select
import time
from collections.abc import Callable
from datetime import UTC, datetime, tzinfo
from functools import partial
from pathlib import Path

from harness.errors import AskedError, Problem
from harness.rig.stop import StopFlag
from harness.rig.two_clocks import at_one_moment

#: How often a wait asks whether it is to be broken off, seconds.
ASK_EVERY_S = 1.0

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_STEADY = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))


class MachineClock:
    """The real Clock port.

    Args:
        flag: Wakes every wait at once when it is raised; without one a wait notices an
            interrupt within a second.
    """

    def __init__(self, flag: StopFlag | None = None) -> None:
        self._flag = flag

    def now(self) -> datetime:
        """Return the instant, aware, UTC."""
        return datetime.now(UTC)

    def local_minute(self, zone: str = "") -> int:
        """Return the minute of the local day in *zone*, 0 to 1439; see ``minute_of_day``."""
        return minute_of_day(self.now(), zone)

    def steady_s(self) -> float:
        """Return seconds on the steady clock."""
        return steady_ns() / 1e9

    def awake_s(self) -> float:
        """Return seconds on a clock that stands still while the machine is suspended."""
        return time.monotonic()

    def suspended_s(self) -> float:
        """Return how long the machine was suspended since it was started; 0 where unknown."""
        if _STEADY is None:
            return 0.0
        awake_s, steady_s = at_one_moment(
            partial(time.clock_gettime, time.CLOCK_MONOTONIC), partial(time.clock_gettime, _STEADY)
        )
        return steady_s - awake_s

    def wait(self, seconds: float, interrupt: Callable[[], bool]) -> bool:
        """Wait; return False if *interrupt* broke it off. *seconds* may be infinite."""
        deadline_s = self.steady_s() + seconds
        while not interrupt():
            left_s = deadline_s - self.steady_s()
            if left_s <= 0:
                return True
            self.pause(min(left_s, ASK_EVERY_S))
        return False

    def pause(self, seconds: float) -> None:
        """Let *seconds* pass, or less if the flag is raised meanwhile."""
        if seconds <= 0 or math.isnan(seconds):
            return
        if self._flag is None:
            time.sleep(seconds)
            return
        if select.select([self._flag], [], [], seconds)[0]:
            self._flag.drain()


def zone_named(name: str) -> tzinfo | None:
    """Return the time zone called *name*; None for the empty name: this machine's own.

    Raises:
        AskedError: this system knows no such zone.
    """
    if not name:
        return None
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):  # OSError: a folder of zones
        raise AskedError(
            Problem(
                code="no-such-zone",
                what=f"this system knows no time zone {name!r}",
                do="correct night.zone in the plan, or install the system's time zones (tzdata)",
            )
        ) from None


def minute_of_day(at: datetime, zone: str = "") -> int:
    """Return the minute of the day, 0 to 1439, that a clock on the wall shows at an instant.

    Args:
        at: The instant, aware.
        zone: Where that wall is, by its time zone's name; empty: this machine's own.

    Raises:
        AskedError: this system knows no such zone.
    """
    local = at.astimezone(zone_named(zone))
    return 60 * local.hour + local.minute


def steady_ns() -> int:
    """Return nanoseconds on the steady clock, the same for every process of this boot."""
    return time.monotonic_ns() if _STEADY is None else time.clock_gettime_ns(_STEADY)


def boot_id() -> str:
    """Return what tells this start of the machine from every other; empty where unknown."""
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""
