"""What counts as one independent value of a row, and the evidence it makes.

Pure. Settled from how the runs were carried out (``harness.summary.evidence`` says which unit is
taken when), never from how the numbers look.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from harness.summary.evidence import Evidence, Unit, pairs, two_samples
from harness.summary.nights_apart import LEVEL, nights_apart
from harness.summary.sides import SideCell

#: The hardware was changed by a person once a side: its insertion is part of the margin.
ONE_INSERTION = "this insertion only"
#: The sides come from different runs: what changed between them is part of the margin.
OTHER_RUNS = "different runs"
#: The sides were measured one after the other: drift does not cancel.
ACROSS_BLOCKS = "across blocks"
#: The same of nights, where the night is the unit.
ONE_NIGHT = "one night on a side"
#: The nights of a run differ by more than their passes do, and passes or rounds are the unit.
NIGHTS_APART = "nights lie apart"
#: The sides were measured in different nights of one run.
OTHER_NIGHTS = "different nights"
#: A side has one run and the other several: nothing tells how runs of that side spread.
ONE_RUN = "one run on a side"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """The value of one pass that counts; a *pilot*'s fixed how many passes there are."""

    run: str
    stay: int
    round: int
    log: float
    night: int = 1
    pilot: bool = False


_Key = TypeVar("_Key")
_Used = tuple[tuple[list[Value], list[Value]], tuple[float, float]]


def weighed(
    base: SideCell,
    against: SideCell,
    values: Sequence[list[Value]],
    flags: list[str],
    notes: list[str],
    *,
    by_night: bool = False,
) -> tuple[Evidence, _Used]:
    """Return the evidence, the values in it, and the mean logarithm of each side.

    Args:
        base: One side.
        against: The other.
        values: Of the passes of each that count.
        flags: What the reader must know is added here.
        notes: What is left out is added here.
        by_night: Whether the night is declared to be the unit: each night of a run one value.
            Where several visits of a side make a visit the unit, it stays that.
    """
    first, second = values
    if base.others or against.others:
        return _as_draws(first, second, flags, notes, unit=Unit.NIGHT if by_night else Unit.RUN)
    changed = _changed_by_a_person(base, against)
    if base.run != against.run:
        flags.append(ONE_INSERTION if changed else OTHER_RUNS)
        return _as_passes(first, second, flags, notes, by_night=by_night)
    if changed:
        visits = [
            _by_visit(own, cell.visits, changed) for own, cell in ((first, base), (second, against))
        ]
        if min(map(len, visits)) >= 2:
            if by_night:
                notes.append("the visit stays the unit, since a person changed the hardware")
            evidence = two_samples(visits[0], visits[1], unit=Unit.VISIT)
            return evidence, ((first, second), (_mean(visits[0]), _mean(visits[1])))
        flags.append(ONE_INSERTION)
        return _as_passes(first, second, flags, notes, by_night=by_night)
    within = base.plan.order.rounds_within
    apart = within is not None and base.value(within) != against.value(within)
    if apart or base.group != against.group:
        flags.append(ACROSS_BLOCKS)
        return _as_passes(first, second, flags, notes, by_night=by_night)
    if by_night:
        return _as_draws(first, second, flags, notes, unit=Unit.NIGHT)
    return _as_rounds(first, second, flags, notes)


def _as_passes(
    first: list[Value],
    second: list[Value],
    flags: list[str],
    notes: list[str],
    *,
    by_night: bool = False,
) -> tuple[Evidence, _Used]:
    if by_night:
        return _as_draws(first, second, flags, notes, unit=Unit.NIGHT)
    by = [_gathered([(_night(each), each.log) for each in side]) for side in (first, second)]
    _tell_nights(by, flags, notes)
    same_run = {run for run, _ in by[0]} == {run for run, _ in by[1]}
    if same_run and by[0].keys().isdisjoint(by[1]):
        flags.append(OTHER_NIGHTS)
    logs = [[each.log for each in side] for side in (first, second)]
    pilots = [[each.log for each in side if each.pilot] for side in (first, second)]
    evidence = two_samples(logs[0], logs[1], pilots=(pilots[0], pilots[1]))
    return evidence, ((first, second), (_mean(logs[0]), _mean(logs[1])))


def _as_draws(
    first: list[Value], second: list[Value], flags: list[str], notes: list[str], *, unit: Unit
) -> tuple[Evidence, _Used]:
    """Return evidence with one value for each run or night: pairs of those with both sides."""
    key: Callable[[Value], tuple[str, int]]
    key = _night if unit is Unit.NIGHT else lambda each: (each.run, 0)
    lone = ONE_NIGHT if unit is Unit.NIGHT else ONE_RUN
    by = [_means(own, key) for own in (first, second)]
    both = [place for place in by[0] if place in by[1]]
    # A night in which a long block of one side ends and that of the other begins makes no pair.
    if len(both) < (2 if unit is Unit.NIGHT else 1):
        means = [list(own.values()) for own in by]
        if min(map(len, means)) < 2:
            flags.append(lone)
        evidence = two_samples(means[0], means[1], unit=unit)
        return evidence, ((first, second), (_mean(means[0]), _mean(means[1])))
    alone = sorted({*by[0], *by[1]} - {*both})
    if alone:
        named = ", ".join(f"night {n} of run {run}" if n else f"run {run}" for run, n in alone)
        notes.append(f"left out, since it has one side only: {named}")
    if len(both) < 2:
        flags.append(lone)
    used = [[each for each in own if key(each) in both] for own in (first, second)]
    means = [[own[place] for place in both] for own in by]
    evidence = pairs(means[0], means[1], unit=unit)
    return evidence, ((used[0], used[1]), (_mean(means[0]), _mean(means[1])))


def _as_rounds(
    first: list[Value], second: list[Value], flags: list[str], notes: list[str]
) -> tuple[Evidence, _Used]:
    by_round = [{(each.stay, each.round): each for each in side} for side in (first, second)]
    both = [place for place in by_round[0] if place in by_round[1]]
    if len(both) < 2:
        if max(len(first), len(second)) > 1:
            flags.append(ACROSS_BLOCKS)
            notes.append(f"rounds that have both sides: {len(both)}; compared unpaired")
        return _as_passes(first, second, flags, notes)
    used = [[own[place] for place in both] for own in by_round]
    left = len(first) + len(second) - 2 * len(both)
    if left:
        passes = "1 pass" if left == 1 else f"{left} passes"
        notes.append(f"{passes} left out: no kept pass of the other side in the same round")
    logs = [[each.log for each in side] for side in used]
    differences = [
        (_night(one), other.log - one.log) for one, other in zip(used[0], used[1], strict=True)
    ]
    _tell_nights([_gathered(differences)], flags, notes)
    evidence = pairs(logs[0], logs[1])
    return evidence, ((used[0], used[1]), (_mean(logs[0]), _mean(logs[1])))


def _changed_by_a_person(base: SideCell, against: SideCell) -> tuple[str, ...]:
    by_hand = dict.fromkeys((*base.operator_conditions(), *against.operator_conditions()))
    return tuple(name for name in by_hand if base.value(name) != against.value(name))


def _by_visit(
    values: Sequence[Value], visits: Mapping[int, Mapping[str, int]], changed: Sequence[str]
) -> list[float]:
    """Return the mean logarithm of each visit."""

    def visit(each: Value) -> tuple[int, ...]:
        counts = visits.get(each.stay, {})
        return tuple(counts.get(name, 0) for name in changed)

    return list(_means(values, visit).values())


def _tell_nights(
    samples: Sequence[Mapping[tuple[str, int], Sequence[float]]],
    flags: list[str],
    notes: list[str],
) -> None:
    """Say that several nights are in a row, and whether they lie apart."""
    found = nights_apart(samples)
    if found is None:
        return
    told = "one pass a night" if found.p is None else f"p = {found.p:.2g} that they do not differ"
    notes.append(f"measured in {found.nights} nights, {told}; --unit night counts each as one")
    if found.p is not None and found.p < LEVEL:
        flags.append(NIGHTS_APART)


def _night(each: Value) -> tuple[str, int]:
    return each.run, each.night


def _means(values: Sequence[Value], key: Callable[[Value], _Key]) -> dict[_Key, float]:
    """Return the mean logarithm of the values that share a key."""
    found = _gathered([(key(each), each.log) for each in values])
    return {place: _mean(own) for place, own in found.items()}


def _gathered(values: Iterable[tuple[_Key, float]]) -> dict[_Key, list[float]]:
    found: dict[_Key, list[float]] = {}
    for place, value in values:
        found.setdefault(place, []).append(value)
    return found


def _mean(logs: Sequence[float]) -> float:
    return math.fsum(logs) / len(logs)
