"""Who watches the rig while something runs on it: the title, a step beside it, or nothing.

Touches nothing itself; what it makes touches the sensors and the clock.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from harness.rig.clock import MachineClock
from harness.rig.crossings import PassWatch
from harness.rig.meanwhile import Meanwhile
from harness.rig.readings import Sample
from harness.rig.sampler import Sampler
from harness.rig.sensors.sensors import Sensors


@dataclass(frozen=True, slots=True, kw_only=True)
class Onlookers:
    """Makes onlookers for one rig; see :class:`Sampler` for the arguments."""

    sensors: Sensors
    clock: MachineClock
    follow: Callable[[int | None], None]
    on_sample: Callable[[Sample], None]
    interval_s: float

    def of_title(self, watch: PassWatch, *, lines: Path) -> Sampler:
        """Return what watches the title's own command, guards and all."""
        return self._sampler(watch, lines=lines, ends=True)

    def of_step(self, watch: PassWatch, *, ends: bool = True) -> Sampler | None:
        """Return what watches a command beside the title, for the limits of *watch* alone.

        It feeds a copy: guards are of the title's own time, and nobody asks it for them.
        """
        if not watch.limits:
            return None
        return self._sampler(copy.deepcopy(watch), lines=None, ends=ends)

    def of_settling(self, watch: PassWatch) -> Meanwhile:
        """Return what watches the limits of *watch* while no command runs."""
        return Meanwhile(
            sensors=self.sensors,
            clock=self.clock,
            watch=copy.deepcopy(watch) if watch.limits else None,
            interval_s=self.interval_s,
        )

    def _sampler(self, watch: PassWatch, *, lines: Path | None, ends: bool) -> Sampler:
        return Sampler(
            sensors=self.sensors,
            clock=self.clock,
            watch=watch,
            lines=lines,
            follow=self.follow,
            on_sample=self.on_sample,
            interval_s=self.interval_s,
            ends=ends,
        )
