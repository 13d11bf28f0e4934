"""A run's records -> one summary per cell and group.

Pure. Passes of two groups never meet in one number: a cell whose rig changed under it has a
summary for each group. Passes superseded by a rerun are out of it (and stay in the store).
The figures are over kept passes; beside them stand the figures with the discarded passes
put back, so that nobody has to take a rule's word for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.rules.judgement import Figure, Verdict
from harness.run.ports import Entry
from harness.run.records import CellReused, CellState, RunStarted
from harness.summary.estimates import Estimate, estimate
from harness.summary.passes import CellPasses, EarlierRun, Pass, SupersededPasses, gather
from harness.summary.signs import signs_of
from harness.summary.wanted import sized_figures

#: The rig changed before the cell was done under this fingerprint: it went on in a new group.
GROUP_LEFT = "group-left"
#: At least one kept pass carries a mark.
MARKED = "marked"
#: The cell was taken from an earlier run instead of measuring again.
REUSED = "reused"
#: The interval ended wider than the plan wanted it.
WIDE = "wide"
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
class Superseded:
    """What a cell had before it was measured again; kept for good, and counted no more.

    Args:
        by: Who wanted it measured again.
        reason: Why.
        state: Where the cell stood before.
        attempts: The passes whose place the rerun took.
        figures: Over those of them that were kept.
    """

    by: str
    reason: str
    state: CellState
    attempts: tuple[int, ...]
    figures: tuple[Estimate, ...]

    def figure(self, name: str) -> Estimate | None:
        """Return the figure called *name*, or None."""
        return next((each for each in self.figures if each.name == name), None)


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
        warm_ups: The verdicts of its warm-up passes, by attempt.
        figures: Over the kept passes, by name in the order the passes give them.
        with_discarded: The same over kept and discarded passes; empty where none was
            discarded.
        flags: Remarks on the kept passes, and on the cell among the others, sorted.
        marks: (attempt, mark) of kept passes.
        superseded: What it had before each rerun, the first first; told with the group at
            which the cell stands now.
        reused: The earlier run it was taken from, instead of measuring again; then passes
            and figures are those of that run.
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
    superseded: tuple[Superseded, ...] = ()
    reused: CellReused | None = None
    warm_ups: tuple[Verdict, ...] = ()

    def figure(self, name: str) -> Estimate | None:
        """Return the figure called *name*, or None."""
        return next((each for each in self.figures if each.name == name), None)


def summarise(
    entries: Iterable[Entry], *, plan: Plan, earlier: EarlierRun | None = None
) -> tuple[CellSummary, ...]:
    """Return the summaries of one run: cells in plan order, their groups in order.

    Exactly one summary of each cell tells where the cell stands now: the one without the
    flag ``group-left``.

    Args:
        entries: Every entry of one run, in order.
        plan: The run's frozen plan.
        earlier: Gives the runs whose cells were taken; without it such cells have no figures.

    Raises:
        ValueError: the entries do not begin a run.
    """
    run = gather(entry.record for entry in entries)
    if run.started is None:
        raise ValueError("these entries are not of one whole run: nothing says that it began")
    found: list[CellSummary] = []
    shown = signs_of(run, plan=plan).flags
    for cell in cells(plan):
        of_cell = run.cells.get(cell.key, CellPasses())
        if of_cell.reused is not None:
            found.append(_taken(run.started, cell, of_cell.reused, earlier))
            continue
        standing = of_cell.closed.group if of_cell.closed is not None else run.group
        own = [each for each in of_cell.passes.values() if not each.reference]
        groups = sorted({standing, *(each.group for each in own)})
        found.extend(
            _summary(
                run.started.run,
                run.started.rig,
                cell,
                of_cell,
                group,
                standing=standing,
                signs=shown.get((cell.key, group), ()),
            )
            for group in groups
        )
    return tuple(found)


def _taken(
    started: RunStarted, cell: Cell, reused: CellReused, earlier: EarlierRun | None
) -> CellSummary:
    """Return the summary of a cell that was taken from an earlier run."""
    found: CellSummary | None = None
    if earlier is not None:
        entries, plan = earlier(reused.run)
        for each in summarise(entries, plan=plan):
            if each.cell.key == cell.key and each.group == reused.run_group:
                found = each
    if found is None:
        found = CellSummary(
            run=started.run,
            rig=started.rig,
            cell=cell,
            group=reused.group,
            state=CellState.ACCEPTED,
            reason=f"taken from run {reused.run}, which was not looked at",
            passes=PassCounts(),
            figures=(),
            with_discarded=(),
            flags=(),
            marks=(),
        )
    return replace(
        found,
        run=started.run,
        cell=cell,
        group=reused.group,
        state=CellState.ACCEPTED,
        flags=tuple(sorted({*found.flags, REUSED} - {GROUP_LEFT})),
        reused=reused,
    )


def _summary(
    run: str,
    rig: str,
    cell: Cell,
    of_cell: CellPasses,
    group: int,
    *,
    standing: int,
    signs: tuple[str, ...],
) -> CellSummary:
    passes = [
        each
        for _, each in sorted(of_cell.passes.items())
        if each.group == group and not each.reference
    ]
    counted = [each for each in passes if not each.warm_up]
    kept = [each for each in counted if each.verdict is Verdict.KEPT]
    discarded = [each for each in counted if each.verdict is Verdict.DISCARDED]
    closed = of_cell.closed if group == standing else None
    marks = tuple((each.attempt, mark) for each in kept for mark in each.marks)
    figures = _figures(kept)
    if closed is not None and of_cell.sized is not None:
        figures, wide = sized_figures(figures, of_cell.sized, kept)
        signs = (*signs, WIDE) if wide else signs
    return CellSummary(
        run=run,
        rig=rig,
        cell=cell,
        group=group,
        state=closed.state if closed is not None else CellState.OPEN,
        reason=closed.reason if closed is not None else "",
        passes=_counts(passes),
        figures=figures,
        with_discarded=_figures([*kept, *discarded]) if discarded else (),
        flags=_flags(kept, signs, marked=bool(marks), left=group != standing),
        marks=marks,
        superseded=tuple(map(_superseded, of_cell.superseded)) if group == standing else (),
        warm_ups=tuple(x.verdict for x in passes if x.warm_up and x.verdict is not None),
    )


def _superseded(earlier: SupersededPasses) -> Superseded:
    closed = earlier.closed
    group = closed.group if closed is not None else max(each.group for each in earlier.passes)
    kept = [
        each
        for each in earlier.passes
        if each.verdict is Verdict.KEPT and not each.warm_up and each.group == group
    ]
    return Superseded(
        by=earlier.reopened.by,
        reason=earlier.reopened.reason,
        state=closed.state if closed is not None else CellState.OPEN,
        attempts=tuple(each.attempt for each in earlier.passes),
        figures=_figures(kept),
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


def _flags(
    kept: Sequence[Pass], signs: tuple[str, ...], *, marked: bool, left: bool
) -> tuple[str, ...]:
    flags = {flag for each in kept for flag in each.flags}.union(signs)
    if any(figure.thin for each in kept for figure in each.figures):
        flags.add(THIN)
    if marked:
        flags.add(MARKED)
    if left:
        flags.add(GROUP_LEFT)
    return tuple(sorted(flags))
