"""How often a visitor may ask: a bucket of turns that fills up again with time.

Pure. Time is handed in, seconds on a clock that never goes back.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """At most ``burst`` turns at once, and ``per_s`` a second after that."""

    burst: float
    per_s: float


class Rates:
    """Counts the turns of each visitor against one rate.

    Args:
        rate: What each may do.
        visitors: How many are remembered; the one not seen for longest is forgotten first.
    """

    def __init__(self, rate: Rate, *, visitors: int = 1000) -> None:
        self._rate, self._visitors = rate, visitors
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, visitor: str, *, now_s: float) -> float:
        """Take one turn and return 0; or return how long it is to wait, seconds."""
        left, at_s = self._left.pop(visitor, (self._rate.burst, now_s))
        left = min(self._rate.burst, left + max(0.0, now_s - at_s) * self._rate.per_s)
        allowed = left >= 1.0
        self._left[visitor] = (left - 1.0 if allowed else left, now_s)
        while len(self._left) > self._visitors:
            self._left.popitem(last=False)
        return 0.0 if allowed else (1.0 - left) / self._rate.per_s
