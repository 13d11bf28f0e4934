"""Cells measured between two reference passes that disagree: the rig moved in between.

Pure. Two reference passes of one cell, one after the other in a run, disagree where they lie
further apart than the plan's band (``compare: {band: …}``), or, where eight reference passes of
the run or more say what is usual, further than the upper limit of their moving ranges
(``harness.summary.usual``): whichever is less, but never less than half a per cent (common
practice, no source). The counted passes that were started between the two are then flagged. They
stay what they are: no figure is corrected.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from harness.plan.document import Plan
from harness.rules.judgement import Verdict
from harness.summary.passes import Pass, RunPasses
from harness.summary.reference_history import reference_figure
from harness.summary.usual import individuals

#: The flag of a cell with a pass between two reference passes that disagree.
REFERENCES_APART = "references-apart"

#: References closer than this never disagree, as a share.
LEAST_APART = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """Two reference passes that disagree.

    Args:
        cell: Key of the reference cell.
        attempts: Of the two passes.
        values: What they measured.
        share: How far the second lies from the first, as a share of the first.
        allowed: How far they might.
        places: Cell and group of the kept passes in between.
    """

    cell: str
    attempts: tuple[int, int]
    values: tuple[float, float]
    share: float
    allowed: float
    places: tuple[tuple[str, int], ...]


def references_apart(run: RunPasses, *, plan: Plan) -> tuple[Apart, ...]:
    """Return the reference passes of one run that disagree, in order."""
    if plan.reference is None:
        return ()
    figure = reference_figure(plan)
    taken = [
        (each.order, key, each, value)
        for key, cell in run.cells.items()
        for each in cell.passes.values()
        if each.reference and not each.warm_up and each.verdict is Verdict.KEPT
        for value in (_value(each, figure),)
        if value is not None
    ]
    taken.sort(key=lambda one: one[0])
    allowed = {
        key: _allowed([value for _, other, _, value in taken if other == key], plan.compare.band)
        for _, key, _, _ in taken
    }
    found = []
    for (start, key, first, one), (end, other, second, two) in itertools.pairwise(taken):
        if key != other or not one:
            continue  # another visit begins: its own reference passes stand around it
        share = (two - one) / abs(one)
        if abs(share) > allowed[key]:
            found.append(
                Apart(
                    cell=key,
                    attempts=(first.attempt, second.attempt),
                    values=(one, two),
                    share=share,
                    allowed=allowed[key],
                    places=_between(run, start, end),
                )
            )
    return tuple(found)


def _allowed(values: Sequence[float], band: float) -> float:
    limits = individuals(values)
    if limits is None or not limits.centre:
        return band
    return min(band, max(LEAST_APART, limits.range_high / abs(limits.centre)))


def _between(run: RunPasses, start: int, end: int) -> tuple[tuple[str, int], ...]:
    found = {
        (key, each.group): None
        for key, cell in run.cells.items()
        for each in cell.passes.values()
        if start < each.order < end
        and not each.reference
        and not each.warm_up
        and each.verdict is Verdict.KEPT
    }
    return tuple(found)


def _value(each: Pass, name: str) -> float | None:
    return next((figure.value for figure in each.figures if figure.name == name), None)
