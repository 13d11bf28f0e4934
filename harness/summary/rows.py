"""One row of a comparison: two cells, one figure, the values that count, and their evidence.

Pure. Which passes count and what the unit of evidence is are settled here, from what was asked
and from how the runs were carried out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.plan.document import Better
from harness.rules.judgement import Figure
from harness.run.records import CellState
from harness.summary.evidence import Evidence, Unit, pairs, two_samples
from harness.summary.rate_setters import RateSetter, rate_setter
from harness.summary.sides import KeptPass, SideCell

#: The hardware was changed by a person once a side: its insertion is part of the margin.
ONE_INSERTION = "this insertion only"
#: The sides come from different runs: what changed between them is part of the margin.
OTHER_RUNS = "different runs"
#: The sides were measured one after the other: drift does not cancel.
ACROSS_BLOCKS = "across blocks"
THIN = "thin"
MARKED = "marked passes in it"
NO_SPREAD = "no spread"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """The value of one pass that counts."""

    stay: int
    round: int
    log: float


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
) -> Row:
    """Return the row of one figure of two cells.

    Raises:
        NoRow: The cells cannot be compared in it; the message says why.
    """
    sides = (("the base", base), ("the other side", against))
    kept = [counted(cell, with_marked=with_marked, side=side) for side, cell in sides]
    found = [figure_of(own, name, side=side) for own, (side, _) in zip(kept, sides, strict=True)]
    if found[0].unit != found[1].unit:
        raise NoRow(f"{name} is in {found[0].unit or 'no unit'} and in {found[1].unit or 'none'}")
    flags: list[str] = []
    notes: list[str] = []
    values = []
    for own, (side, cell) in zip(kept, sides, strict=True):
        values.append(_values(own, name, side, flags, notes))
        left = len(cell.kept) - len(own)
        if left:
            notes.append(f"{left} marked of {side} left out")
        if with_marked and any(each.marks for each in own):
            flags.append(MARKED)
        if cell.state is not CellState.ACCEPTED:
            flags.append(f"{side} is {cell.state.value}")
    evidence, used = _evidence(base, against, values, flags, notes)
    if evidence.se == 0.0:
        flags.append(NO_SPREAD)
    made = [
        SideOfRow(
            cell=cell,
            mean=math.exp(centre),
            n=len(own_values),
            setter=rate_setter(own),
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


def _values(
    passes: Sequence[KeptPass], name: str, side: str, flags: list[str], notes: list[str]
) -> list[Value]:
    values = []
    for each in passes:
        figure = each.figures.get(name)
        if figure is None or figure.value is None:
            why = figure.why if figure is not None else "the pass has no such figure"
            notes.append(f"attempt {each.attempt} of {side} left out: {why}")
            continue
        if not figure.value > 0.0:
            raise NoRow(f"{name} of {side} is {figure.value:g} in attempt {each.attempt}: no ratio")
        if figure.thin:
            flags.append(THIN)
        values.append(Value(stay=each.stay, round=each.round, log=math.log(figure.value)))
    if not values:
        raise NoRow(f"{name} of {side} is not measured: {notes[-1].rpartition(': ')[2]}")
    return values


_Used = tuple[tuple[list[Value], list[Value]], tuple[float, float]]


def _evidence(
    base: SideCell,
    against: SideCell,
    values: Sequence[list[Value]],
    flags: list[str],
    notes: list[str],
) -> tuple[Evidence, _Used]:
    """Return the evidence, the values in it, and the mean logarithm of each side."""
    first, second = values
    changed = _changed_by_a_person(base, against)
    if base.run != against.run:
        flags.append(ONE_INSERTION if changed else OTHER_RUNS)
        return _as_passes(first, second)
    if changed:
        visits = [
            _by_visit(own, cell.visits, changed) for own, cell in ((first, base), (second, against))
        ]
        if min(map(len, visits)) >= 2:
            evidence = two_samples(visits[0], visits[1], unit=Unit.VISIT)
            return evidence, ((first, second), (_mean(visits[0]), _mean(visits[1])))
        flags.append(ONE_INSERTION)
        return _as_passes(first, second)
    within = base.plan.order.rounds_within
    apart = within is not None and base.value(within) != against.value(within)
    if apart or base.group != against.group:
        flags.append(ACROSS_BLOCKS)
        return _as_passes(first, second)
    return _as_rounds(first, second, flags, notes)


def _as_passes(first: list[Value], second: list[Value]) -> tuple[Evidence, _Used]:
    logs = [[each.log for each in side] for side in (first, second)]
    return two_samples(logs[0], logs[1]), ((first, second), (_mean(logs[0]), _mean(logs[1])))


def _as_rounds(
    first: list[Value], second: list[Value], flags: list[str], notes: list[str]
) -> tuple[Evidence, _Used]:
    by_round = [{(each.stay, each.round): each for each in side} for side in (first, second)]
    both = [place for place in by_round[0] if place in by_round[1]]
    if len(both) < 2:
        if max(len(first), len(second)) > 1:
            flags.append(ACROSS_BLOCKS)
            notes.append(f"rounds that have both sides: {len(both)}; compared unpaired")
        return _as_passes(first, second)
    used = [[own[place] for place in both] for own in by_round]
    left = len(first) + len(second) - 2 * len(both)
    if left:
        passes = "1 pass" if left == 1 else f"{left} passes"
        notes.append(f"{passes} left out: no kept pass of the other side in the same round")
    logs = [[each.log for each in side] for side in used]
    evidence = pairs(logs[0], logs[1])
    return evidence, ((used[0], used[1]), (_mean(logs[0]), _mean(logs[1])))


def _changed_by_a_person(base: SideCell, against: SideCell) -> tuple[str, ...]:
    by_hand = dict.fromkeys((*base.operator_conditions(), *against.operator_conditions()))
    return tuple(name for name in by_hand if base.value(name) != against.value(name))


def _by_visit(
    values: Sequence[Value], visits: Mapping[int, Mapping[str, int]], changed: Sequence[str]
) -> list[float]:
    """Return the mean logarithm of each visit."""
    found: dict[tuple[int, ...], list[float]] = {}
    for each in values:
        counts = visits.get(each.stay, {})
        found.setdefault(tuple(counts.get(name, 0) for name in changed), []).append(each.log)
    return [_mean(own) for own in found.values()]


def _mean(logs: Sequence[float]) -> float:
    return math.fsum(logs) / len(logs)
