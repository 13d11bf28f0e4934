"""The ceilings of a run: one title, the levels of one condition, all settings.

Pure. Common practice, no source: what is transferred with a frame hardly depends on the
resolution, so a narrow link shows as a rate that no lower setting lifts. Where the bytes of a
frame are known (``bytes_per_frame`` of the plan) the ceiling is a rate of transfer, shown beside
what the link carries as published; they may be declared for each level or setting, and where
they differ over the settings of a ceiling, one rate implies no one transfer rate. Where they are
not declared, and ceilings of several levels with
links of different published rates are, they are fitted: the time of a frame at the ceiling is

    1 / ceiling = t + bytes / published rate

by least squares, so that bytes is the slope. It takes the link at its published rate, which
none reaches: the true bytes are less by the link's efficiency. Two levels are fitted exactly,
and nothing is left to tell whether the form is right; that is said.

The link is read under load, at its best during the passes; where nothing was read, what the level
``expect``s stands for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from harness.plan.cells import title_of
from harness.rules.judgement import Figure
from harness.summary.link_rates import link_gb_per_s
from harness.summary.plateaus import Plateau, RateAt, plateau
from harness.summary.rows import NoRow, counted, figure_of
from harness.summary.sides import SideCell

_GENERATION, _WIDTH = "gpu.link.generation", "gpu.link.width"

#: The unit of the rates that bytes a frame make a transfer rate of.
FRAMES_A_SECOND = "fps"


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link: generation, lanes, published rate (bytes a second), and how it is known."""

    generation: int
    width: int
    bytes_per_s: float
    known: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCeiling:
    """One level of the condition.

    Args:
        level: Its name.
        rates: Setting -> geometric mean rate and kept passes, in plan order.
        ceiling: Where it tops out; None: nowhere that can be seen.
        link: Its link; None: not measured, and not expected either.
        bytes_per_s: The implied transfer rate; None without ceiling or bytes per frame.
        bytes_per_frame: Bytes of each frame at the ceiling; None: not known, or not the same.
    """

    level: str
    rates: tuple[tuple[str, float, int], ...]
    ceiling: Plateau | None
    link: Link | None
    bytes_per_s: float | None
    bytes_per_frame: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleCeilings:
    """The levels of one condition over the settings of one title and scene.

    Args:
        run: The run.
        rig: The rig.
        title: The title.
        scene: The scene.
        others: Levels of the other conditions, which are the same throughout.
        condition: The condition.
        free: The level that is fastest over all; settings are ordered by its rate.
        levels: One for each level, in plan order.
        bytes_per_frame: Bytes, the same for all levels; None: not known, or not the same.
        bytes_from: ``declared``, ``fitted`` or empty.
        left_out: Cells left out, each with why.
        unit: Of every rate.
        definition: Of the figure.
    """

    run: str
    rig: str
    title: str
    scene: str
    others: tuple[tuple[str, str], ...]
    condition: str
    free: str
    levels: tuple[LevelCeiling, ...]
    bytes_per_frame: float | None
    bytes_from: str
    left_out: tuple[tuple[str, str], ...]
    unit: str
    definition: str


def ceilings(
    cells: Sequence[SideCell],
    *,
    condition: str,
    figure: str,
    band: float,
    with_marked: bool = False,
) -> TitleCeilings | None:
    """Return the ceilings of cells that differ in *condition* and setting only.

    None: fewer than two levels share two settings or more.

    Args:
        cells: Of one run, title and scene, and of one level of every other condition.
        condition: The condition.
        figure: A rate, such as ``average_fps``.
        band: The smallest difference worth calling one.
        with_marked: Whether marked passes count.
    """
    values: dict[str, dict[str, tuple[float, ...]]] = {}
    left_out: list[tuple[str, str]] = []
    shown = ("", "")
    of_level: dict[str, list[SideCell]] = {}
    for cell in cells:
        level = cell.cell.level(condition)
        try:
            passes = counted(cell, with_marked=with_marked, side="the cell")
            found = figure_of(passes, figure, side="the cell")
        except NoRow as none:
            left_out.append((cell.label, str(none)))
            continue
        rates = [
            (each.attempt, value)
            for each in passes
            if (f := each.figures.get(figure)) is not None and (value := f.value) is not None
        ]
        if why := _no_rate(rates, found):
            left_out.append((cell.label, why))
            continue
        shown = (found.unit, found.definition)
        values.setdefault(level, {})[cell.cell.setting] = tuple(rate for _, rate in rates)
        of_level.setdefault(level, []).append(cell)
    common = [s for s in dict.fromkeys(c.cell.setting for c in cells) if _everywhere(values, s)]
    if len(values) < 2 or len(common) < 2:
        return None
    means = {level: {s: _geometric(own[s]) for s in common} for level, own in values.items()}
    free = max(means, key=lambda level: math.fsum(map(math.log, means[level].values())))
    first = cells[0]
    of_frames = shown[0] == FRAMES_A_SECOND
    declared = {cell.cell.key: _declared(cell) if of_frames else None for cell in cells}
    levels = []
    for level, own in values.items():
        steps = [RateAt(setting=s, other=means[free][s], rates=own[s]) for s in common]
        top = plateau(steps, band=band) if level != free else None
        levels.append(
            LevelCeiling(
                level=level,
                rates=tuple((s, _geometric(each), len(each)) for s, each in own.items()),
                ceiling=top,
                link=_link(of_level[level], condition),
                bytes_per_s=None,
                bytes_per_frame=_of_ceiling(top, of_level[level], declared),
            )
        )
    if any(declared.values()):
        sizes = set(declared.values())
        size, source = (sizes.pop() if len(sizes) == 1 else None), "declared"
    elif not of_frames:
        size, source = None, ""  # bytes a frame say nothing of another rate
    else:
        size, source = _fitted(levels)
        levels = [replace(each, bytes_per_frame=size) for each in levels]
    return TitleCeilings(
        run=first.run,
        rig=first.rig,
        title=first.cell.title,
        scene=first.cell.scene,
        others=tuple(pair for pair in first.cell.levels if pair[0] != condition),
        condition=condition,
        free=free,
        levels=tuple(map(_with_rate, levels)),
        bytes_per_frame=size,
        bytes_from=source,
        left_out=tuple(left_out),
        unit=shown[0],
        definition=shown[1],
    )


def fit_bytes(pairs: Sequence[tuple[float, float]]) -> tuple[float, float] | None:
    """Return (bytes per frame, other seconds per frame) fitted over levels; None: it cannot be.

    Args:
        pairs: Ceiling in frames a second, and published rate in bytes a second.
    """
    if len({rate for _, rate in pairs}) < 2:
        return None
    xs, ys = [1.0 / rate for _, rate in pairs], [1.0 / top for top, _ in pairs]
    x, y = math.fsum(xs) / len(xs), math.fsum(ys) / len(ys)
    slope = math.fsum((a - x) * (b - y) for a, b in zip(xs, ys, strict=True)) / math.fsum(
        (a - x) ** 2 for a in xs
    )
    return (slope, y - slope * x) if slope > 0.0 else None


def _fitted(levels: Sequence[LevelCeiling]) -> tuple[float | None, str]:
    pairs = [
        (each.ceiling.rate, each.link.bytes_per_s)
        for each in levels
        if each.ceiling is not None and each.link is not None
    ]
    found = fit_bytes(pairs)
    return (found[0], "fitted") if found is not None else (None, "")


def _of_ceiling(
    top: Plateau | None, cells: Sequence[SideCell], declared: Mapping[str, float | None]
) -> float | None:
    """Return what is declared of every frame at a ceiling; None: nothing, or not one size."""
    if top is None:
        return None
    sizes = {declared[cell.cell.key] for cell in cells if cell.cell.setting in top.settings}
    return sizes.pop() if len(sizes) == 1 else None


def _with_rate(each: LevelCeiling) -> LevelCeiling:
    if each.ceiling is None or each.bytes_per_frame is None:
        return each
    return replace(each, bytes_per_s=each.ceiling.rate * each.bytes_per_frame)


def _no_rate(rates: Sequence[tuple[int, float]], figure: Figure) -> str:
    """Return why the passes of a cell, with their attempts, give no rate; empty: they do."""
    if not rates:
        return f"{figure.name} is not measured: {figure.why}"
    attempt, least = min(rates, key=lambda pair: pair[1])
    if least > 0.0:
        return ""
    return f"{figure.name} is {least:g} {figure.unit}".rstrip() + f" in attempt {attempt}: no rate"


def _everywhere(values: Mapping[str, Mapping[str, object]], setting: str) -> bool:
    return bool(values) and all(setting in own for own in values.values())


def _geometric(values: Sequence[float]) -> float:
    return math.exp(math.fsum(map(math.log, values)) / len(values))


def _declared(cell: SideCell) -> float | None:
    size = title_of(cell.plan, cell.cell).bytes_per_frame
    if not isinstance(size, tuple):
        return size
    names = {cell.cell.setting, *(level for _, level in cell.cell.levels)}
    return next((each for name, each in size if name in names), None)


def _link(cells: Sequence[SideCell], condition: str) -> Link | None:
    best = {
        name: [
            reading.most
            for cell in cells
            for each in cell.kept
            if (reading := each.readings.get(name)) is not None and reading.most is not None
        ]
        for name in (_GENERATION, _WIDTH)
    }
    if all(best.values()):
        return _known(max(best[_GENERATION]), max(best[_WIDTH]), "read under load")
    level = cells[0].cell.level(condition)
    asked = next(each for each in cells[0].plan.conditions if each.name == condition)
    bounds = {
        bound.reading: bound.equals if bound.equals is not None else bound.at_least
        for each in asked.levels
        if each.name == level
        for bound in each.expect
    }
    generation, width = bounds.get(_GENERATION), bounds.get(_WIDTH)
    if isinstance(generation, float) and isinstance(width, float):
        return _known(generation, width, "as the level expects it")
    return None


def _known(generation: float, width: float, how: str) -> Link | None:
    rate = link_gb_per_s(generation=round(generation), width=round(width))
    if rate is None:
        return None
    return Link(
        generation=round(generation), width=round(width), bytes_per_s=float(rate * 10**9), known=how
    )
