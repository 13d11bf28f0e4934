"""Bring a level about, or undo it, under the limits that hold meanwhile.

Touches nothing but through the bench's port.
"""

from __future__ import annotations

from dataclasses import replace

from harness.rig.tasks import LevelTask
from harness.rules.guards import GuardWatch
from harness.run import instructions as i
from harness.run import observations as o
from harness.run.ports import Bench
from harness.run.state import RunState
from harness.run.transitions import Phase


def set_level(bench: Bench, state: RunState, task: LevelTask) -> o.LevelReported:
    """Bring a level about under the plan's limits and its own."""
    own = state.grid.levels[task.condition, task.level].limits
    limits = (*(state.plan.limits or ()), *own)
    report = bench.set_level(replace(task, watch=GuardWatch((), limits)))
    return o.LevelReported(condition=task.condition, level=task.level, report=report)


def put_back(bench: Bench, state: RunState, order: i.PutBack) -> o.PutBackReported:
    """Undo a level. No limit ends that: what is put back is what lets the rig cool."""
    # A held rig is hot already, perhaps, and held anyway: nothing is left to be seen.
    limits = () if state.phase is Phase.HELD else (state.plan.limits or ())
    task = LevelTask(
        condition=order.condition,
        level=order.level,
        command=order.command,
        expect=(),
        watch=GuardWatch((), limits),
        undo=True,
    )
    report = bench.set_level(task)
    assert report.end is not None, "a put_back has a command"
    return o.PutBackReported(
        condition=order.condition, level=order.level, end=report.end, limit=report.limit
    )
