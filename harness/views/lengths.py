"""How long a run still takes.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping

from harness.plan.document import Title
from harness.run.records import CellState
from harness.run.state import RunState, warm_ups_left


def expected_pass_s(title: Title) -> float:
    """Return how long a pass takes before one was seen: its scene's length, else its limit."""
    cut = title.cut
    if cut.length_s is not None:
        return cut.from_s + cut.length_s
    return title.command.time_limit_s


def left_s(state: RunState, *, seen: Mapping[str, float]) -> float:
    """Return the seconds that the open cells still take if nothing goes wrong.

    Args:
        state: The run.
        seen: Length of a pass, waits included, of the cells (by key) that were measured. A
            cell that was not is taken for the mean of its title's, else of all of them,
            else for what the plan says.
    """
    by_title: dict[str, list[float]] = {}
    for key, seconds in seen.items():
        by_title.setdefault(state.grid.titles[key].title, []).append(seconds)
    total = 0.0
    passes = state.plan.passes
    for key, progress in state.progress.items():
        if progress.state is not CellState.OPEN:
            continue
        title = state.grid.titles[key]
        like = by_title.get(title.title) or list(seen.values())
        each = seen.get(key) or (sum(like) / len(like) if like else expected_pass_s(title))
        warm = warm_ups_left(state, key)
        total += each * (passes.keep - len(progress.kept) + warm)
    return total
