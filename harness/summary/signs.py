"""What a run shows over all its cells: trends, likeness, discards, voids, levels, references.

Pure. None of it changes a figure. Each becomes a flag of the cells it concerns, and a line below
the results of the run.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.rules.judgement import Verdict
from harness.rules.levels import two_levels
from harness.run.ports import Entry
from harness.summary.apart import REFERENCES_APART, Apart, references_apart
from harness.summary.following import Following, following
from harness.summary.frequent import Frequent, frequent
from harness.summary.passes import Pass, RunPasses, gather
from harness.summary.trends import Trend, pooled_trend
from harness.summary.voids import Balance, LevelVoids, void_balance

#: The cells of this run together change from pass to pass: does the rig heat up?
TREND = "trend"
#: The kept passes lie on two levels: the cell is unresolved.
TWO_LEVELS = "two-levels"
#: Its level lost more, or fewer, passes as void than the other levels.
VOIDS_UNEVEN = "voids-uneven"

#: Passes of a cell are like the one before: intervals promise too much.
FOLLOWING = "passes-follow"
#: It lost a pass to a rule, as too many cells did.
FREQUENT = "discards-frequent"

#: Level of the test for two levels where no rule asks, and the least distance worth a flag.
TWO_LEVELS_ALPHA = 0.01
TWO_LEVELS_FLOOR = 0.005

#: A cell's key and a group.
Place = tuple[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What a run shows over all its cells.

    Args:
        trends: By figure, the common trend of its cells.
        following: By figure, how like passes are to the one before.
        frequent: How many cells lost a pass to a rule; None: none could.
        voids: Every level of every condition with two or more.
        two_levels: Cell and group -> where its two levels lie, and of which figure.
        apart: Reference passes that disagree, with the cells measured in between.
        flags: Cell and group -> the flags that follow.
    """

    trends: Mapping[str, Trend] = field(default_factory=dict)
    following: Mapping[str, Following] = field(default_factory=dict)
    frequent: Frequent | None = None
    voids: tuple[LevelVoids, ...] = ()
    two_levels: Mapping[Place, tuple[str, float, float]] = field(default_factory=dict)
    apart: tuple[Apart, ...] = ()
    flags: Mapping[Place, tuple[str, ...]] = field(default_factory=dict)


def signs(entries: Iterable[Entry], *, plan: Plan) -> Signs:
    """Return what the entries of one run show."""
    return signs_of(gather(entry.record for entry in entries), plan=plan)


def signs_of(run: RunPasses, *, plan: Plan) -> Signs:
    """Return what the gathered passes of one run show."""
    series: dict[str, dict[Place, list[tuple[int, float]]]] = {}
    apart: dict[Place, tuple[str, float, float]] = {}
    voids: dict[str, dict[str, tuple[int, int]]] = {}
    places: list[tuple[Place, Cell]] = []
    taken: dict[Place, tuple[int, int]] = {}
    for cell in cells(plan):
        of_cell = run.cells.get(cell.key)
        if of_cell is None:
            continue
        by_group: dict[int, list[Pass]] = {}
        for _, each in sorted(of_cell.passes.items()):
            if not each.warm_up and not each.reference:
                by_group.setdefault(each.group, []).append(each)
        for group, passes in by_group.items():
            place = cell.key, group
            places.append((place, cell))
            _count_voids(voids, cell, passes)
            verdicts = [each.verdict for each in passes]
            taken[place] = verdicts.count(Verdict.KEPT), verdicts.count(Verdict.DISCARDED)
            name = _main_figure(passes)
            if name is None:
                continue
            measured = _values(passes, name, Verdict.KEPT, Verdict.DISCARDED)
            series.setdefault(name, {})[place] = measured
            kept = [value for _, value in _values(passes, name, Verdict.KEPT)]
            levels = two_levels(kept, alpha=TWO_LEVELS_ALPHA, floor=TWO_LEVELS_FLOOR)
            if levels is not None:
                apart[place] = (name, *levels.at)
    trends = {
        name: trend
        for name, of_place in series.items()
        if (trend := pooled_trend(of_place.values())) is not None
    }
    alike = {
        name: found
        for name, of_place in series.items()
        if (found := following([value for _, value in own] for own in of_place.values()))
    }
    lost = frequent(taken.values(), rules=plan.discard)
    balance = tuple(each for name, found in voids.items() for each in void_balance(name, found))
    moved = references_apart(run, plan=plan)
    between = {place for each in moved for place in each.places}
    return Signs(
        trends=trends,
        following=alike,
        frequent=lost,
        voids=balance,
        two_levels=apart,
        apart=moved,
        flags={
            place: (
                *_flags(place, cell, series, trends, apart, balance),
                *(
                    (FOLLOWING,)
                    if any(each.there and place in series[name] for name, each in alike.items())
                    else ()
                ),
                *((FREQUENT,) if lost and lost.there and taken[place][1] else ()),
                *((REFERENCES_APART,) if place in between else ()),
            )
            for place, cell in places
        },
    )


def _flags(
    place: Place,
    cell: Cell,
    series: Mapping[str, Mapping[Place, object]],
    trends: Mapping[str, Trend],
    apart: Mapping[Place, object],
    balance: tuple[LevelVoids, ...],
) -> tuple[str, ...]:
    found = []
    if any(trend.there and place in series[name] for name, trend in trends.items()):
        found.append(TREND)
    if place in apart:
        found.append(TWO_LEVELS)
    uneven = {
        (each.condition, each.level)
        for each in balance
        if each.balance in (Balance.MORE, Balance.FEWER)
    }
    if uneven.intersection(cell.levels):
        found.append(VOIDS_UNEVEN)
    return tuple(found)


def _count_voids(
    voids: dict[str, dict[str, tuple[int, int]]], cell: Cell, passes: Iterable[Pass]
) -> None:
    verdicts = [each.verdict for each in passes]
    void = verdicts.count(Verdict.VOID)
    judged = void + verdicts.count(Verdict.KEPT) + verdicts.count(Verdict.DISCARDED)
    for condition, level in cell.levels:
        of_condition = voids.setdefault(condition, {})
        before = of_condition.get(level, (0, 0))
        of_condition[level] = before[0] + void, before[1] + judged


def _main_figure(passes: Iterable[Pass]) -> str | None:
    """Return the frame rate's name, or that of the first figure where there are no frames."""
    names = list(dict.fromkeys(figure.name for each in passes for figure in each.figures))
    return "average_fps" if "average_fps" in names else next(iter(names), None)


def _values(passes: Iterable[Pass], name: str, *verdicts: Verdict) -> list[tuple[int, float]]:
    return [
        (each.attempt, figure.value)
        for each in passes
        if each.verdict in verdicts
        for figure in each.figures
        if figure.name == name and figure.value is not None
    ]
