"""Leave between two passes when the night ends: what does not fit is not begun.

Pure. The clock and the flag come in.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from harness.run import instructions as i
from harness.run import records as r
from harness.run.loop import Onlooker
from harness.run.state import RunState

#: What the reason of a pause at the night's end begins with.
REASON = "the night ends"


class NightEnd(Onlooker):
    """Asks the runner to stop where the next pass would not be over before the night's end.

    How long a pass takes is the longest that one of its cell took since the runner came up,
    else one of its title, else the title's time limit. A pass that runs is never broken off.

    Args:
        until: When the night ends, aware.
        now: The clock of the day.
        stop: Raises the runner's flag, with the reason.
    """

    def __init__(
        self, until: datetime, *, now: Callable[[], datetime], stop: Callable[[str], None]
    ) -> None:
        self._until, self._now, self._stop = until, now, stop
        self._longest_s: dict[str, float] = {}  # by cell, and by title
        self._next_s = 0.0
        self._in_pass = self._said = False

    def look(self) -> None:
        """Ask the runner to stop, once, if it is time. Called at least once a second."""
        if self._in_pass or self._said:
            return
        if self._now() + timedelta(seconds=self._next_s) >= self._until:
            self._said = True
            fits = f"; a pass of {self._next_s:.0f} s does not fit" if self._next_s else ""
            self._stop(f"{REASON} at {self._until.astimezone():%H:%M %Z}{fits}")

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """Note how long the pass takes that is about to be waited for."""
        if isinstance(instruction, i.AwaitGates):
            title = state.grid.titles[instruction.cell]
            known = self._longest_s
            limit_s = title.command.time_limit_s
            title_s = known.get(title.title, limit_s)
            self._next_s = known.get(instruction.cell, title_s)

    def kept(self, state: RunState, record: r.Record) -> None:
        """Note that a pass begins, or how long one took."""
        match record:
            case r.PassStarted():
                self._in_pass = True
            case r.PassEnded(cell=cell, end=end):
                if end is not None:
                    for name in (cell, state.grid.titles[cell].title):
                        self._longest_s[name] = max(self._longest_s.get(name, 0.0), end.wall_s)
            case r.PassJudged():
                self._in_pass, self._next_s = False, 0.0
            case _:
                pass
