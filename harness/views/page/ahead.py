"""What comes next in a run, and how long it still takes.

Touches disk. The run's records are folded as its runner folds them, and only those that came
since the last look; a run that is longer than can be folded in a moment is left alone.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

from harness.errors import AskedError, StoreError
from harness.plan.nights import zone_of_hours
from harness.rig.clock import minute_of_day
from harness.run.apply import fold
from harness.run.pick import pick
from harness.run.state import Grid, RunState, begin
from harness.run.transitions import Phase
from harness.store.history import open_history
from harness.store.sqlite import Store
from harness.store.standing import RunLine
from harness.units import span
from harness.views.lengths import left_s
from harness.views.page.desk import Desk
from harness.views.progress import now_words, still_s

MOST_RECORDS = 50_000  #: of a run that is folded here: a second or two
_KEPT = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class AheadOf:
    """What comes next, in words, and the time left; ``why`` where that is not told."""

    next: str
    left_s: float | None
    why: str = ""

    @property
    def left(self) -> str:
        """Return the time left as a person reads it."""
        return f"about {span(self.left_s)}" if self.left_s is not None else self.why


class Ahead:
    """Folds runs, and keeps what it folded."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._states: OrderedDict[str, tuple[int, RunState]] = OrderedDict()

    def of(self, line: RunLine) -> AheadOf:
        """Return what lies ahead of a run.

        Raises:
            PassInProgress: it has to wait.
        """
        if line.standing.phase == "finished":
            return AheadOf(next="nothing: every cell is closed", left_s=0.0)
        if line.standing.seq > MOST_RECORDS:
            why = f"not worked out for a run of {line.standing.seq} records"
            return AheadOf(next="", left_s=None, why=why)
        with self._desk.work():
            grid = self._desk.grid(line.run)
            with self._desk.opened() as store:
                state = self._folded(store, line.run, grid)
            seen = self._seen(line.run)
        if state.phase is Phase.NEW:
            return AheadOf(next="", left_s=left_s(state, seen=seen))
        now, asks = self._desk.now(), grid.plan.person is not None
        try:
            minute = minute_of_day(now, zone_of_hours(grid.plan)) if asks else 0
        except AskedError as error:
            return AheadOf(next="", left_s=None, why=f"not told: {error.problems[0].what}")
        instruction = pick(state, local_minute=minute, now=now)
        left = still_s(state, instruction, seen=seen)
        return AheadOf(next=now_words(state, instruction), left_s=left)

    def _folded(self, store: Store, run: str, grid: Grid) -> RunState:
        after, state = self._states.pop(run, (0, None))
        state = begin(grid) if state is None else state
        entries = store.entries(run, after=after)
        fold(state, (entry.record for entry in entries))
        self._states[run] = (entries[-1].seq if entries else after, state)
        while len(self._states) > _KEPT:
            self._states.popitem(last=False)
        return state

    def _seen(self, run: str) -> dict[str, float]:
        """Return how long a pass of each measured cell took, its wait included."""
        lengths: dict[str, list[float]] = {}
        try:
            with open_history(self._desk.store) as history:
                for each in history.passes(run):
                    if each.seconds is not None:
                        lengths.setdefault(each.cell, []).append(each.seconds)
        except StoreError:
            return {}
        return {cell: sum(own) / len(own) for cell, own in lengths.items()}
