"""One row of a comparison: two cells, one figure, the values that count, and their evidence.

Pure. Which passes count and what the unit of evidence is are settled here, from what was asked
and from how the runs were carried out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.plan.document import Better
from harness.rules.judgement import Figure
from harness.run.records import CellState
from harness.summary.apart import REFERENCES_APART
from harness.summary.evidence import Evidence
from harness.summary.independent import Value, weighed
from harness.summary.rate_setters import RateSetter, rate_setter
from harness.summary.sides import KeptPass, SideCell

THIN = "thin"
MARKED = "marked passes in it"
NO_SPREAD = "no spread"


@dataclass(frozen=True, slots=True, kw_only=True)
class SideOfRow:
    """What a row has of one side.

    Args:
        cell: The cell.
        mean: Geometric mean of what was compared, in the figure's unit.
        n: Passes in it.
        setter: What set its rate.
        values: One for each pass in it.
    """

    cell: SideCell
    mean: float
    n: int
    setter: RateSetter
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Two cells, and what their passes say of one figure.

    Args:
        base: One side.
        against: The other.
        figure: The figure, as one pass gave it: name, unit, definition.
        better: Which way it is better.
        evidence: Of the ratio.
        flags: What the reader must know beside the word.
        notes: What was left out of the row, in words.
    """

    base: SideOfRow
    against: SideOfRow
    figure: Figure
    better: Better
    evidence: Evidence
    flags: tuple[str, ...]
    notes: tuple[str, ...]


class NoRow(Exception):
    """Two cells cannot be held against each other; the message says why."""


def figure_of(passes: Sequence[KeptPass], name: str, *, side: str) -> Figure:
    """Return the figure as the passes of one side have it.

    Raises:
        NoRow: No pass has it, or they do not share one definition.
    """
    own = [figure for each in passes if (figure := each.figures.get(name)) is not None]
    if not own:
        raise NoRow(f"{side} has no figure {name}" if passes else f"{side} has no kept pass")
    kinds = sorted({f"{each.definition} in {each.unit or 'no unit'}" for each in own})
    if len(kinds) > 1:
        raise NoRow(f"the passes of {side} do not share one definition: {', '.join(kinds)}")
    return own[0]


def counted(cell: SideCell, *, with_marked: bool, side: str) -> tuple[KeptPass, ...]:
    """Return the kept passes of *cell* that count.

    Raises:
        NoRow: None does.
    """
    passes = tuple(each for each in cell.kept if with_marked or not each.marks)
    if not passes and cell.kept:
        raise NoRow(f"every kept pass of {side} is marked; --with-marked takes them in")
    if not passes:
        raise NoRow(f"{side} has no kept pass")
    return passes


def make_row(
    base: SideCell,
    against: SideCell,
    *,
    name: str,
    better: Better,
    with_marked: bool,
    by_night: bool = False,
) -> Row:
    """Return the row of one figure of two cells.

    Raises:
        NoRow: The cells cannot be compared in it; the message says why.
    """
    sides = (("the base", base), ("the other side", against))
    _refuse_shared(base, against)
    kept = [_counted(cell, with_marked=with_marked, side=side) for side, cell in sides]
    found = [
        figure_of([each for _, each in own], name, side=side)
        for own, (side, _) in zip(kept, sides, strict=True)
    ]
    if found[0].unit != found[1].unit:
        raise NoRow(f"{name} is in {found[0].unit or 'no unit'} and in {found[1].unit or 'none'}")
    flags: list[str] = []
    notes: list[str] = []
    values = []
    for own, (side, cell) in zip(kept, sides, strict=True):
        values.append(_values(own, name, side, flags, notes))
        left = sum(len(member.kept) for member in cell.members) - len(own)
        if left:
            notes.append(f"{left} marked of {side} left out")
        if with_marked and any(each.marks for _, each in own):
            flags.append(MARKED)
        for member in cell.members:
            if member.state is not CellState.ACCEPTED:
                flags.append(f"{side} is {member.state.value}")
            if member.apart:
                flags.append(f"{side}: {REFERENCES_APART}")
    evidence, used = weighed(base, against, values, flags, notes, by_night=by_night)
    if evidence.se == 0.0:
        flags.append(NO_SPREAD)
    made = [
        SideOfRow(
            cell=cell,
            mean=math.exp(centre),
            n=len(own_values),
            setter=rate_setter([each for _, each in own]),
            values=tuple(math.exp(each.log) for each in own_values),
        )
        for own, own_values, centre, (_, cell) in zip(kept, used[0], used[1], sides, strict=True)
    ]
    return Row(
        base=made[0],
        against=made[1],
        figure=found[0],
        better=better,
        evidence=evidence,
        flags=tuple(dict.fromkeys(flags)),
        notes=tuple(notes),
    )


def _refuse_shared(base: SideCell, against: SideCell) -> None:
    """Refuse sides that share passes: a run that took a cell over holds nothing against it."""
    shared = {each.same_passes for each in base.members}
    for each in against.members:
        if each.same_passes in shared:
            run = each.ran_in
            raise NoRow(f"both sides have the same passes, those of run {run}")


def _counted(
    cell: SideCell, *, with_marked: bool, side: str
) -> tuple[tuple[SideCell, KeptPass], ...]:
    """Return the kept passes that count, in all runs of the side; of a run without, none."""
    found: list[tuple[SideCell, KeptPass]] = []
    none: list[NoRow] = []
    for each in cell.members:
        try:
            passes = counted(each, with_marked=with_marked, side=side)
        except NoRow as why:
            none.append(why)
            continue
        found += [(each, one) for one in passes]
    if not found:
        raise none[0]
    return tuple(found)


def _values(
    passes: Sequence[tuple[SideCell, KeptPass]],
    name: str,
    side: str,
    flags: list[str],
    notes: list[str],
) -> list[Value]:
    values = []
    for member, each in passes:
        figure = each.figures.get(name)
        if figure is None or figure.value is None:
            why = figure.why if figure is not None else "the pass has no such figure"
            notes.append(f"attempt {each.attempt} of {side} left out: {why}")
            continue
        if not figure.value > 0.0:
            value = f"{figure.value:g} {figure.unit}".rstrip()
            raise NoRow(f"{name} of {side} is {value} in attempt {each.attempt}: no ratio")
        if figure.thin:
            flags.append(THIN)
        values.append(
            Value(
                run=member.ran_in,
                stay=each.stay,
                round=each.round,
                log=math.log(figure.value),
                night=each.night,
                pilot=each.fixed == name,
            )
        )
    if not values:
        raise NoRow(f"{name} of {side} is not measured: {notes[-1].rpartition(': ')[2]}")
    return values
