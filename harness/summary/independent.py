"""What counts as one independent value of a row, and the evidence it makes.

Pure. Settled from how the runs were carried out (``harness.summary.evidence`` says which unit is
taken when), never from how the numbers look.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from harness.summary.evidence import Draw, Evidence, Unit, of_draws, pairs, two_samples
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
#: What rows have in common with the rows of other titles, and a mean over titles has, too.
COMMON = (
    ONE_INSERTION, OTHER_RUNS, ONE_RUN, ONE_NIGHT, OTHER_NIGHTS, NIGHTS_APART, ACROSS_BLOCKS,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """The value of one pass that counts; a *pilot*'s fixed how many passes there are."""

    run: str
    stay: int
    round: int
    log: float
    night: int = 1
    pilot: bool = False


#: Fewer pairs of rounds than this make an interval that is wider than their passes', where a
#: round has several of a side: Student's quantile of two rounds is 12.7, of four 3.2.
FEW_ROUNDS = 4

_Key = TypeVar("_Key")
_Got = TypeVar("_Got")
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
    if base.ran_in != against.ran_in:
        flags.append(ONE_INSERTION if changed else OTHER_RUNS)
        return _as_passes(first, second, flags, notes, by_night=by_night)
    if changed:
        visits = [
            _by_visit(own, cell.visits, changed) for own, cell in ((first, base), (second, against))
        ]
        if min(map(len, visits)) >= 2:
            if by_night:
                notes.append("the visit stays the unit, since a person changed the hardware")
            evidence = of_draws(visits[0], visits[1], unit=Unit.VISIT)
            means = [_mean(list(own.values())) for own in visits]
            return evidence, ((first, second), (means[0], means[1]))
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
    key: Callable[[Value], Draw]
    key = _night if unit is Unit.NIGHT else lambda each: (each.run, ())
    lone = ONE_NIGHT if unit is Unit.NIGHT else ONE_RUN
    by = [_means(own, key) for own in (first, second)]
    both = [place for place in by[0] if place in by[1]]
    # A night in which a long block of one side ends and that of the other begins makes no pair;
    # nor does the only run that both sides have, where each has others to tell how runs spread.
    several = min(map(len, by)) > 1
    if len(both) < (2 if unit is Unit.NIGHT or several else 1):
        if not several:
            flags.append(lone)
        evidence = of_draws(by[0], by[1], unit=unit)
        means = [_mean(list(own.values())) for own in by]
        return evidence, ((first, second), (means[0], means[1]))
    alone = sorted({*by[0], *by[1]} - {*both})
    if alone:
        named = ", ".join(f"night {n[0]} of run {run}" if n else f"run {run}" for run, n in alone)
        notes.append(f"left out, since it has one side only: {named}")
    if len(both) < 2:
        flags.append(lone)
    used = [[each for each in own if key(each) in both] for own in (first, second)]
    evidence = of_draws({place: by[1][place] - by[0][place] for place in both}, unit=unit)
    centres = [_mean([own[place] for place in both]) for own in by]
    return evidence, ((used[0], used[1]), (centres[0], centres[1]))


def _as_rounds(
    first: list[Value], second: list[Value], flags: list[str], notes: list[str]
) -> tuple[Evidence, _Used]:
    by_round = [_gathered([((x.stay, x.round), x) for x in side]) for side in (first, second)]
    both = [place for place in by_round[0] if place in by_round[1]]
    if len(both) < 2:
        if max(len(first), len(second)) > 1:
            flags.append(ACROSS_BLOCKS)
            notes.append(f"rounds that have both sides: {len(both)}; compared unpaired")
        return _as_passes(first, second, flags, notes)
    used = [[each for place in both for each in own[place]] for own in by_round]
    repeated = max(map(len, used)) > len(both)
    if repeated and len(both) < FEW_ROUNDS:
        notes.append(
            f"rounds that have both sides: {len(both)}, with several passes in one; compared "
            "unpaired: so few pairs tell less than their passes"
        )
        return _as_passes(first, second, flags, notes)
    left = len(first) + len(second) - sum(map(len, used))
    if left:
        passes = "1 pass" if left == 1 else f"{left} passes"
        notes.append(f"{passes} left out: no kept pass of the other side in the same round")
    logs = [[_mean([each.log for each in own[place]]) for place in both] for own in by_round]
    nights = [_night(by_round[0][place][0]) for place in both]
    differences = [b - a for a, b in zip(logs[0], logs[1], strict=True)]
    _tell_nights([_gathered(list(zip(nights, differences, strict=True)))], flags, notes)
    evidence = pairs(logs[0], logs[1])
    return evidence, ((used[0], used[1]), (_mean(logs[0]), _mean(logs[1])))


def _changed_by_a_person(base: SideCell, against: SideCell) -> tuple[str, ...]:
    by_hand = dict.fromkeys((*base.operator_conditions(), *against.operator_conditions()))
    return tuple(name for name in by_hand if base.value(name) != against.value(name))


def _by_visit(
    values: Sequence[Value], visits: Mapping[int, Mapping[str, int]], changed: Sequence[str]
) -> dict[Draw, float]:
    """Return the mean logarithm of each visit, by its run and number."""

    def visit(each: Value) -> Draw:
        counts = visits.get(each.stay, {})
        return each.run, tuple(counts.get(name, 0) for name in changed)

    return _means(values, visit)


def _tell_nights(
    samples: Sequence[Mapping[Draw, Sequence[float]]],
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


def _night(each: Value) -> Draw:
    return each.run, (each.night,)


def _means(values: Sequence[Value], key: Callable[[Value], _Key]) -> dict[_Key, float]:
    """Return the mean logarithm of the values that share a key."""
    found = _gathered([(key(each), each.log) for each in values])
    return {place: _mean(own) for place, own in found.items()}


def _gathered(values: Iterable[tuple[_Key, _Got]]) -> dict[_Key, list[_Got]]:
    found: dict[_Key, list[_Got]] = {}
    for place, value in values:
        found.setdefault(place, []).append(value)
    return found


def _mean(logs: Sequence[float]) -> float:
    return math.fsum(logs) / len(logs)
