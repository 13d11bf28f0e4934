"""A run's records -> one summary per cell and group.

Pure. Passes of two groups never meet in one number: a cell whose rig changed under it has a
summary for each group. Passes superseded by a rerun are out of it (and stay in the store).
The figures are over kept passes; beside them stand the figures with the discarded passes
put back, so that nobody has to take a rule's word for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields

from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.rules.judgement import Figure, Verdict
from harness.run.ports import Entry
from harness.run.records import CellState
from harness.summary.estimates import Estimate, estimate
from harness.summary.passes import CellPasses, Pass, gather

#: The rig changed before the cell was done under this fingerprint: it went on in a new group.
GROUP_LEFT = "group-left"
#: At least one kept pass carries a mark.
MARKED = "marked"
#: A low figure of at least one kept pass has few frames in its tail.
THIN = "thin"


@dataclass(frozen=True, slots=True, kw_only=True)
class PassCounts:
    """How many passes have which verdict; warm-up passes are counted by themselves."""

    kept: int = 0
    discarded: int = 0
    void: int = 0
    failed: int = 0
    interrupted: int = 0
    warm_up: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class CellSummary:
    """One cell under one fingerprint.

    Args:
        run: The run's name.
        rig: The rig's name.
        cell: The cell itself.
        group: The group of its passes; a cell without passes has the open group.
        state: Where the cell stands in this group.
        reason: Why it is closed; empty while it is open.
        passes: Passes by verdict.
        figures: Over the kept passes, by name in the order the passes give them.
        with_discarded: The same over kept and discarded passes; empty where none was
            discarded.
        flags: Remarks on the kept passes, sorted.
        marks: (attempt, mark) of kept passes.
    """

    run: str
    rig: str
    cell: Cell
    group: int
    state: CellState
    reason: str
    passes: PassCounts
    figures: tuple[Estimate, ...]
    with_discarded: tuple[Estimate, ...]
    flags: tuple[str, ...]
    marks: tuple[tuple[int, str], ...]

    def figure(self, name: str) -> Estimate | None:
        """Return the figure called *name*, or None."""
        return next((each for each in self.figures if each.name == name), None)


def summarise(entries: Iterable[Entry], *, plan: Plan) -> tuple[CellSummary, ...]:
    """Return the summaries of one run: cells in plan order, their groups in order.

    Exactly one summary of each cell tells where the cell stands now: the one without the
    flag ``group-left``.

    Args:
        entries: Every entry of one run, in order.
        plan: The run's frozen plan.

    Raises:
        ValueError: the entries do not begin a run.
    """
    run = gather(entry.record for entry in entries)
    if run.started is None:
        raise ValueError("these entries are not of one whole run: nothing says that it began")
    found: list[CellSummary] = []
    for cell in cells(plan):
        of_cell = run.cells.get(cell.key, CellPasses())
        standing = of_cell.closed.group if of_cell.closed is not None else run.group
        groups = sorted({standing, *(each.group for each in of_cell.passes.values())})
        found.extend(
            _summary(run.started.run, run.started.rig, cell, of_cell, group, standing=standing)
            for group in groups
        )
    return tuple(found)


def _summary(
    run: str, rig: str, cell: Cell, of_cell: CellPasses, group: int, *, standing: int
) -> CellSummary:
    passes = [each for _, each in sorted(of_cell.passes.items()) if each.group == group]
    counted = [each for each in passes if not each.warm_up]
    kept = [each for each in counted if each.verdict is Verdict.KEPT]
    discarded = [each for each in counted if each.verdict is Verdict.DISCARDED]
    closed = of_cell.closed if group == standing else None
    marks = tuple((each.attempt, mark) for each in kept for mark in each.marks)
    return CellSummary(
        run=run,
        rig=rig,
        cell=cell,
        group=group,
        state=closed.state if closed is not None else CellState.OPEN,
        reason=closed.reason if closed is not None else "",
        passes=_counts(passes),
        figures=_figures(kept),
        with_discarded=_figures([*kept, *discarded]) if discarded else (),
        flags=_flags(kept, marked=bool(marks), left=group != standing),
        marks=marks,
    )


def _counts(passes: Sequence[Pass]) -> PassCounts:
    counted = [each.verdict for each in passes if not each.warm_up]
    return PassCounts(
        kept=counted.count(Verdict.KEPT),
        discarded=counted.count(Verdict.DISCARDED),
        void=counted.count(Verdict.VOID),
        failed=counted.count(Verdict.FAILED),
        interrupted=counted.count(Verdict.INTERRUPTED),
        warm_up=sum(each.warm_up and each.verdict is not None for each in passes),
    )


def _figures(passes: Sequence[Pass]) -> tuple[Estimate, ...]:
    by_name: dict[str, list[Figure]] = {}
    for each in passes:
        for figure in each.figures:
            by_name.setdefault(figure.name, []).append(figure)
    return tuple(estimate(figures, passes=len(passes)) for figures in by_name.values())


def _flags(kept: Sequence[Pass], *, marked: bool, left: bool) -> tuple[str, ...]:
    flags = {flag for each in kept for flag in each.flags}
    if any(figure.thin for each in kept for figure in each.figures):
        flags.add(THIN)
    if marked:
        flags.add(MARKED)
    if left:
        flags.add(GROUP_LEFT)
    return tuple(sorted(flags))


def as_json(summary: CellSummary) -> dict[str, object]:
    """Return *summary* as one element of ``cells`` in ``results --json``.

    A mean, spread or interval that is not measured is null, and ``why`` says why.
    ``figures_with_discarded`` is empty where nothing was discarded.
    """
    cell = summary.cell
    return {
        "run": summary.run,
        "rig": summary.rig,
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "conditions": dict(cell.levels),
        "group": summary.group,
        "state": summary.state.value,
        "passes": {each.name: getattr(summary.passes, each.name) for each in fields(PassCounts)},
        "figures": {each.name: _estimate_json(each) for each in summary.figures},
        "figures_with_discarded": {
            each.name: _estimate_json(each) for each in summary.with_discarded
        },
        "flags": list(summary.flags),
        "marks": [{"attempt": attempt, "mark": mark} for attempt, mark in summary.marks],
    }


def _estimate_json(each: Estimate) -> dict[str, object]:
    shown: dict[str, object] = {
        "mean": each.mean,
        "sd": each.sd,
        "n": each.n,
        "half_width": each.half_width,
        "confidence": each.confidence,
        "definition": each.definition,
        "unit": each.unit,
    }
    return shown if each.why is None else {**shown, "why": each.why}
