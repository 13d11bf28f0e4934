"""What earlier passes of the same cells say of a plan: how long they took, how they spread.

Pure. A cell is the same where its key and its procedure are: what was measured with another
command, setting, gate or cut says nothing of this one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from harness.plan.canonical import plan_hash
from harness.plan.cells import Cell, cells
from harness.plan.document import Plan
from harness.plan.main_figure import enough_figure
from harness.store.seen import PassSeen
from harness.summary.procedures import measured_alike, procedures, thawed
from harness.summary.resolution import Spread, pooled_spread

#: A title and its scene.
Scene = tuple[str, str]

#: A run: the hash of its plan, its frozen plan, and what gives its passes.
EarlierRun = tuple[str, str, Callable[[], Sequence[PassSeen]]]

#: After so many passes of the same cells, older runs are left alone.
ENOUGH = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """What earlier passes say of a plan's titles.

    Args:
        passes: How many passes ``lengths`` are taken over.
        lengths: Means of a pass in seconds, wait and command, one for each cell that has any.
        figures: Title and scene -> the figure that ``spreads`` are of.
        spreads: How kept passes lie apart.
        commands: Cell key -> mean of the commands alone, seconds.
        counts: How many passes of a title and scene these are taken over.
    """

    passes: int
    lengths: Mapping[Scene, tuple[float, ...]]
    figures: Mapping[Scene, str]
    spreads: Mapping[Scene, Spread]
    commands: Mapping[str, float] = field(default_factory=dict)
    counts: Mapping[Scene, int] = field(default_factory=dict)


@dataclass(slots=True)
class _OfCell:
    seconds: list[float] = field(default_factory=list)
    commands: list[float] = field(default_factory=list)
    figures: dict[tuple[object, ...], list[float]] = field(default_factory=dict)


def earlier(plan: Plan, runs: Iterable[EarlierRun]) -> Earlier:
    """Return what the passes of *runs*, newest first, say of *plan*."""
    grid = {cell.key: cell for cell in cells(plan)}
    names = _figures(plan)
    found, taken = _gathered(plan, runs, grid, names)
    return _summed(found, grid, names, taken)


def earlier_values(plan: Plan, runs: Iterable[EarlierRun]) -> dict[str, list[list[float]]]:
    """Return what kept passes gave, by cell: one list for each of *runs* and fingerprint.

    Of each title's figure as ``enough_figure`` names it; cells measured otherwise are left out.
    """
    found, _ = _gathered(plan, runs, {cell.key: cell for cell in cells(plan)}, _figures(plan))
    values = {key: list(of_cell.figures.values()) for key, of_cell in found.items()}
    return {key: lists for key, lists in values.items() if lists}


def _figures(plan: Plan) -> dict[Scene, str]:
    return {(title.title, title.scene): enough_figure(plan, title) for title in plan.titles}


def _gathered(
    plan: Plan, runs: Iterable[EarlierRun], grid: Mapping[str, Cell], names: Mapping[Scene, str]
) -> tuple[dict[str, _OfCell], int]:
    wanted = procedures(plan, grid.values())
    found: dict[str, _OfCell] = {}
    taken = 0
    whole = plan_hash(plan)
    for number, (hash_, frozen, passes) in enumerate(runs):
        same = wanted.keys() if hash_ == whole else _same(frozen, wanted)
        if not same:
            continue
        for each in passes():
            if each.cell in same:
                _take(found.setdefault(each.cell, _OfCell()), each, number, grid, names)
                taken += each.seconds is not None
        if taken >= ENOUGH:
            break
    return found, taken


def _same(frozen: str, wanted: Mapping[str, str]) -> set[str]:
    """Return the keys of the cells that the frozen plan measures as *wanted*."""
    other = thawed(frozen)
    return measured_alike(other, wanted) if other is not None else set()


def _take(
    of_cell: _OfCell,
    each: PassSeen,
    run: int,
    grid: Mapping[str, Cell],
    names: Mapping[Scene, str],
) -> None:
    if each.seconds is not None:
        of_cell.seconds.append(each.seconds)
    if each.command_s is not None:
        of_cell.commands.append(each.command_s)
    cell = grid[each.cell]
    value = dict(each.figures).get(names[cell.title, cell.scene])
    if each.kept and value is not None:
        of_cell.figures.setdefault((run, each.group), []).append(value)


def _summed(
    found: Mapping[str, _OfCell], grid: Mapping[str, Cell], names: Mapping[Scene, str], taken: int
) -> Earlier:
    lengths: dict[Scene, list[float]] = {}
    groups: dict[Scene, list[list[float]]] = {}
    counts: dict[Scene, int] = {}
    for key, of_cell in found.items():
        scene = grid[key].title, grid[key].scene
        if of_cell.seconds:
            lengths.setdefault(scene, []).append(sum(of_cell.seconds) / len(of_cell.seconds))
        groups.setdefault(scene, []).extend(of_cell.figures.values())
        counts[scene] = counts.get(scene, 0) + len(of_cell.commands)
    spreads = {scene: pooled_spread(values) for scene, values in groups.items()}
    return Earlier(
        passes=taken,
        lengths={scene: tuple(means) for scene, means in lengths.items()},
        figures=names,
        spreads={scene: spread for scene, spread in spreads.items() if spread is not None},
        commands={
            key: sum(of_cell.commands) / len(of_cell.commands)
            for key, of_cell in found.items()
            if of_cell.commands
        },
        counts=counts,
    )
