"""The limits while no command runs: files settle, and hot parts may stay hot.

Touches the sensors and the clock. There is nothing to end then; what is seen holds the rig.
"""

from __future__ import annotations

from harness.rig.clock import MachineClock
from harness.rig.crossings import LimitBreached, PassWatch
from harness.rig.sampler import watched
from harness.rig.sensors.sensors import Sensors


class Meanwhile:
    """Feeds a watch once an interval, when it is asked to look.

    Args:
        sensors: What is read.
        clock: For the interval.
        watch: Fed every sample; None: there is nothing to watch for.
        interval_s: Looks closer together than this read nothing.
    """

    def __init__(
        self,
        *,
        sensors: Sensors,
        clock: MachineClock,
        watch: PassWatch | None,
        interval_s: float,
    ) -> None:
        self._sensors, self._clock, self._watch = sensors, clock, watch
        self._interval_s = interval_s
        self._began_s = clock.steady_s()
        self._next_s = self._began_s + interval_s
        self.limit: LimitBreached | None = None

    def look(self) -> None:
        """Look at the limits, where a look is due."""
        now_s = self._clock.steady_s()
        if self._watch is None or self.limit is not None or now_s < self._next_s:
            return
        self._next_s = now_s + self._interval_s
        sample = self._sensors.sample(watched(self._watch))
        self.limit = self._watch.feed(sample, into_s=now_s - self._began_s)
