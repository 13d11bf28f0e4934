"""The clock values of a capture near given instants, picked out while it is read.

Pure. A capture is read once, piece by piece, and its frames are not kept in their order. What
is to be said about the frames around an instant must therefore be told beforehand.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence


class Around:
    """Keeps the clock values of a capture that lie in some spans of time.

    Whose clock it is shows the first value: on the right one it lies within the window, which
    is the time of the pass. Where it lies in none, or in several, nothing is kept.

    Args:
        spans: From when to when, on the steady clock, seconds; in order of both.
        window: When the pass began and was over, on the steady clock.
        behind_s: How far each clock that it may be is behind the steady clock, seconds.
        per_s: How many of the capture's unit make a second.
    """

    def __init__(
        self,
        spans: Sequence[tuple[float, float]],
        *,
        window: tuple[float, float],
        behind_s: Sequence[float],
        per_s: float,
    ) -> None:
        self._spans, self._window = spans, window
        self._behind_s, self._per_s = behind_s, per_s
        self._mine_s: float | None = None  # how far its own clock is behind the steady one
        self._next = 0  # of the spans: those before it are over
        self.first_s: float | None = None  #: the first clock value, on the steady clock
        self.last_s: float | None = None
        self.clocks = 0  #: how many of the clocks it can be: 1 where it is known
        self.kept: list[list[float]] = [[] for _ in spans]  #: on the steady clock, by span

    def take(self, values: Sequence[float]) -> None:
        """Take the next clock values of the capture, in its unit; there is one at least."""
        if self.first_s is None:
            self._find(float(values[0]) / self._per_s)
        if self._mine_s is None:
            return
        self.last_s = float(values[-1]) / self._per_s + self._mine_s
        for place in range(self._next, len(self._spans)):
            start, end = (self._of_capture(instant) for instant in self._spans[place])
            if start > values[-1]:
                break
            found = values[bisect_left(values, start) : bisect_right(values, end)]
            self.kept[place] += [float(each) / self._per_s + self._mine_s for each in found]
            if end < values[-1]:
                self._next = place + 1

    def _find(self, first_s: float) -> None:
        start, end = self._window
        fitting = [each for each in self._behind_s if start <= first_s + each <= end]
        self.clocks = len(fitting)
        self.first_s = first_s
        if len(fitting) == 1:
            self._mine_s = fitting[0]
            self.first_s = first_s + self._mine_s

    def _of_capture(self, instant_s: float) -> float:
        assert self._mine_s is not None, "its clock is known by now"
        return (instant_s - self._mine_s) * self._per_s
