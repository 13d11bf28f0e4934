"""The rig as the watch sees it: its holds and its clocks.

Touches disk and the clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from harness.rig.clock import MachineClock, boot_id
from harness.rig.holds import Holds
from harness.run.debts import is_debt
from harness.watch.due import Held


class WatchedRig:
    """This machine. Fits ``harness.watch.ports.Rig``."""

    def __init__(self, state: Path, *, name: str) -> None:
        self.name, self.boot = name, boot_id()
        self._holds, self._clock = Holds(state), MachineClock()

    def holds(self) -> Sequence[Held]:
        """Return why it is held; nothing: it is not."""
        return [
            Held(reason=hold.reason, debt_of=hold.run if is_debt(hold.id, hold.run) else "")
            for hold in self._holds.standing()
        ]

    def is_released(self, hold: str) -> bool:
        """Return whether a person has lifted the hold called *hold*."""
        return any(each.hold == hold for each in self._holds.releases())

    def now(self) -> datetime:
        """Return the instant, aware."""
        return self._clock.now()

    def steady_s(self) -> float:
        """Return seconds on a clock that goes on while the machine is suspended."""
        return self._clock.steady_s()

    def awake_s(self) -> float:
        """Return seconds on a clock that stands still meanwhile."""
        return self._clock.awake_s()
