"""The reference cell's latest value, held against its own earlier ones.

Pure. The limits are those of ``harness.summary.usual``, over the values before the latest.
Only values measured by the same procedure are put together; the rig may have changed
between them, which is what they are to show.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.plan.main_figure import main_figure
from harness.plan.order import blocks, reference_cells
from harness.plan.rule_agreement import DEFAULT_FIGURE
from harness.rig.survey import ReferenceSeen, Seen
from harness.rules.believable import believed
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.procedures import measured_alike, procedures, thawed
from harness.summary.usual import LEAST, individuals

#: A run: its frozen plan, and what gives its entries.
Run = tuple[str, Callable[[], Iterable[Entry]]]


def reference_now(plan: Plan, runs: Iterable[Run]) -> Seen[ReferenceSeen]:
    """Return the latest value of the reference cell of *plan*, and what is usual for it.

    Args:
        plan: A checked plan.
        runs: Runs on the same rig.
    """
    if plan.reference is None:
        return Seen(why="the plan has no reference cell")
    grid = {cell.key: cell for cell in cells(plan)}
    keys = {key for key in reference_cells(plan, blocks(plan)) if key is not None}
    wanted = procedures(plan, (grid[key] for key in keys))
    name = reference_figure(plan)
    values: list[tuple[datetime, float, str]] = []
    for frozen, entries in runs:
        other = thawed(frozen)
        same = measured_alike(other, wanted) if other is not None else set()
        if same:
            values += reference_values(entries(), same, name)
    return _held(sorted(values), name)


def _held(values: Sequence[tuple[datetime, float, str]], name: str) -> Seen[ReferenceSeen]:
    if not values:
        return Seen(why="the reference cell was never measured on this rig by this procedure")
    _, latest, unit = values[-1]
    limits = individuals([value for _, value, _ in values[:-1]])
    if limits is None:
        return Seen(
            why=f"the reference cell has {len(values)} values: what is usual for it is told from "
            f"{LEAST + 1} on"
        )
    return Seen(
        value=ReferenceSeen(
            figure=name,
            unit=unit,
            latest=latest,
            low=limits.low,
            high=limits.high,
            values=limits.values,
        )
    )


def reference_figure(plan: Plan) -> str:
    """Return the figure that the reference cell is known by: the frame rate, or its title's own."""
    if plan.reference is None:
        return DEFAULT_FIGURE
    for title in plan.titles:
        if (title.title, title.scene) == (plan.reference.title, plan.reference.scene):
            return main_figure(title)
    return DEFAULT_FIGURE


def reference_values(
    entries: Iterable[Entry], same: set[str], name: str
) -> list[tuple[datetime, float, str]]:
    """Return (instant, value, unit) of the kept reference passes of the cells *same*."""
    begun: set[tuple[str, int]] = set()
    ended: dict[tuple[str, int], tuple[float, str]] = {}
    found = []
    for entry in entries:
        match entry.record:
            case r.PassStarted(reference=True, warm_up=False) as started if started.cell in same:
                begun.add((started.cell, started.attempt))
            case r.PassEnded() as over if (over.cell, over.attempt) in begun:
                for figure in believed(over.figures):
                    if figure.name == name and figure.value is not None:
                        ended[over.cell, over.attempt] = (figure.value, figure.unit)
            case r.PassJudged(verdict=Verdict.KEPT) as judged:
                one = ended.pop((judged.cell, judged.attempt), None)
                if one is not None:
                    found.append((entry.at, *one))
            case _:
                pass
    return found
