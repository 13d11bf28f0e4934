"""The meter of a rehearsal: it reads what the model played, and no file.

Pure.
"""

from __future__ import annotations

from collections.abc import Callable

from harness.plan.document import Title
from harness.rig.rehearsed import RehearsedBench
from harness.rig.tasks import PassReport, PassTask
from harness.rules.judgement import Figure, Measured


def rehearsed_meter(bench: RehearsedBench) -> Callable[[PassTask, PassReport], Measured]:
    """Return the meter of a rehearsal on *bench*."""

    def measure(task: PassTask, report: PassReport) -> Measured:
        play = bench.played()
        if play.problem is not None:
            return Measured(problem=play.problem, fault="no-capture")
        if play.rate_fps is None:
            return Measured()
        return Measured(figures=_figures(task.title, play.rate_fps), frames=1000)

    return measure


def _figures(title: Title, rate_fps: float) -> tuple[Figure, ...]:
    """Return the frame rate that was played, and every figure that the title must report."""
    rate = Figure(name="average_fps", value=rate_fps, unit="fps", definition="frames-over-time/1")
    if not title.figures:
        return (rate,)
    own = tuple(
        Figure(name=spec.name, value=rate_fps, unit=spec.unit, definition="rehearsed/1")
        for spec in title.figures
    )
    return (rate, *own)
