"""A clock for tests of the rig: it moves only when something pauses."""

from __future__ import annotations

from harness.rig.clock import MachineClock


class StillClock(MachineClock):
    def __init__(self) -> None:
        super().__init__()
        self.at_s = 1000.0
        self.pauses = 0

    def steady_s(self) -> float:
        return self.at_s

    def awake_s(self) -> float:
        return self.at_s

    def suspended_s(self) -> float:
        return 0.0

    def pause(self, seconds: float) -> None:
        self.pauses += 1
        self.at_s += max(0.0, seconds)
