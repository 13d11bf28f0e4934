"""The same cells on several rigs, and each rig's own nights.

Pure. Cells are put together by title, scene, setting and levels; of each rig stands the latest run
that has the cell, under the fingerprint it stands in. From six rigs on they have repeatability and
reproducibility (``harness.summary.between_rigs``); fewer have only their differences, rig by rig.
The nights of one rig stand in the layout of the GUM, H.5 (``harness.summary.one_way``): what
varies within a night, what between nights, and what the mean of all is known to.

What differs between the rigs is named: the procedure, the definition and the fields that a plan
wants the same need a reason, as for a comparison; other fields of the fingerprint stand beside.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.errors import AskedError, Problem
from harness.plan.cells import Cell
from harness.rules.judgement import Figure
from harness.rules.student import t_quantile
from harness.summary.between_rigs import LEAST_RIGS, Between, between
from harness.summary.differences import Difference, also_differs, differences, together
from harness.summary.evidence import two_samples
from harness.summary.one_way import Group, OneWay, group, one_way
from harness.summary.rows import NoRow, counted, figure_of
from harness.summary.series import Series, cell_figure, nights
from harness.summary.sides import SideCell

_CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRig:
    """One cell on one rig.

    Args:
        side: Where its passes come from.
        values: Of the kept passes that count.
        group: Their number, mean and squares.
    """

    side: SideCell
    values: tuple[float, ...]
    group: Group


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """How far one rig lies from another: relative difference of geometric means.

    Args:
        base: One rig, by its place; ``against`` the other.
        against: See above.
        share: How far; None where a value is not above 0.
        low: Lower end of its 95 % interval; None with one value on a side.
        high: Upper end.
    """

    base: int
    against: int
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """One cell over the nights of one rig, under its latest fingerprint.

    Args:
        rig: The rig.
        groups: One for each night.
        analysis: Between and within nights; None with one night.
        half_width: Of the 95 % interval of the mean, the night as unit; None with one night.
        left_out: Values under other fingerprints.
    """

    rig: str
    groups: tuple[Group, ...]
    analysis: OneWay | None
    half_width: float | None
    left_out: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CellPrecision:
    """One cell on all rigs that have it.

    Args:
        cell: The cell.
        figure: As one pass gave it: name, unit, definition.
        rigs: One or more, by name.
        between: From six rigs on; None: too few, or nothing repeats.
        pairs: Below that, the difference of every two.
        nights: Of each rig with two nights or more.
    """

    cell: Cell
    figure: Figure
    rigs: tuple[OnRig, ...]
    between: Between | None
    pairs: tuple[Pair, ...]
    nights: tuple[Nights, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Differs:
    """What is not the same on a rig as on the first one of its cell."""

    base: str
    rig: str
    differences: tuple[Difference, ...]
    also: tuple[Difference, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Precision:
    """What was found.

    Args:
        cells: One for each cell.
        differs: By rig.
        despite: Why differences do not matter.
        left_out: (cell and rig, why).
        older: Cells left out since a later run of the same rig has them.
    """

    cells: tuple[CellPrecision, ...]
    differs: tuple[Differs, ...]
    despite: str
    left_out: tuple[tuple[str, str], ...]
    older: int


def precision(
    found: Sequence[SideCell],
    *,
    histories: Sequence[Series],
    figure: str | None = None,
    with_marked: bool = False,
    despite: str = "",
) -> Precision:
    """Return what the rigs say of every cell.

    Args:
        found: The cells wanted, the latest run of each rig first.
        histories: Every kept pass of them on each rig, in order of time.
        figure: Its name; None: what each cell is known by.
        with_marked: Take marked passes in.
        despite: Why rigs are put together though they differ.

    Raises:
        AskedError: They differ in what they must not, and no reason is given.
    """
    latest: dict[str, dict[str, SideCell]] = {}
    older = 0
    for side in found:
        rigs = latest.setdefault(side.cell.key, {})
        before = rigs.get(side.rig)
        if side.current and (before is None or (side.kept and not before.kept)):
            rigs[side.rig] = side
        else:
            older += bool(side.kept)
    left_out: list[tuple[str, str]] = []
    done: list[CellPrecision] = []
    differ: dict[tuple[str, str], tuple[list[tuple[Difference, ...]], list[tuple[Difference, ...]]]]
    differ = {}
    for rigs in latest.values():
        one = next(iter(rigs.values()))
        name = figure or cell_figure(one.plan, one.cell)
        on_rigs, figures = _on_rigs(rigs, name, with_marked, left_out)
        if not on_rigs:
            continue
        first = on_rigs[0].side
        for other, its in zip(on_rigs[1:], figures[1:], strict=True):
            must, may = differ.setdefault((first.rig, other.side.rig), ([], []))
            pair = first, other.side
            must.append(differences(*pair, compared=("rig",), figures=(figures[0], its)))
            may.append(also_differs(*pair, compared=("rig",)))
        if len({each.unit for each in figures}) > 1:
            left_out.append((first.cell.label, f"{name} has several units"))
            continue
        own = [each for each in histories if each.cell.key == first.cell.key]
        cell = _cell(on_rigs, figures[0], [each for each in own if each.figure == name])
        if len(cell.rigs) > 1 or cell.nights:
            done.append(cell)
        else:
            left_out.append((first.label, "one night on one rig: nothing to hold it against"))
    differs = tuple(
        Differs(base=base, rig=rig, differences=together(must), also=together(may))
        for (base, rig), (must, may) in differ.items()
    )
    if not despite:
        _refuse(differs)
    return Precision(
        cells=tuple(done),
        differs=differs,
        despite=despite,
        left_out=tuple(left_out),
        older=older,
    )


def _on_rigs(
    rigs: dict[str, SideCell], name: str, with_marked: bool, left_out: list[tuple[str, str]]
) -> tuple[list[OnRig], list[Figure]]:
    found, figures = [], []
    for rig, side in sorted(rigs.items()):
        try:
            passes = counted(side, with_marked=with_marked, side=rig)
            figure = figure_of(passes, name, side=rig)
        except NoRow as none:
            left_out.append((side.label, str(none)))
            continue
        values = tuple(
            value
            for each in passes
            if (one := each.figures.get(name)) is not None and (value := one.value) is not None
        )
        if not values:
            left_out.append((side.label, f"{name} is not measured"))
            continue
        found.append(OnRig(side=side, values=values, group=group(values)))
        figures.append(figure)
    return found, figures


def _cell(on_rigs: Sequence[OnRig], figure: Figure, histories: Sequence[Series]) -> CellPrecision:
    enough = len(on_rigs) >= LEAST_RIGS
    procedures = {each.side.rig: each.side.run for each in on_rigs}
    return CellPrecision(
        cell=on_rigs[0].side.cell,
        figure=figure,
        rigs=tuple(on_rigs),
        between=between([each.group for each in on_rigs]) if enough else None,
        pairs=()
        if enough
        else tuple(_pair(on_rigs, *two) for two in itertools.combinations(range(len(on_rigs)), 2)),
        nights=tuple(
            own
            for each in sorted(histories, key=lambda one: one.rig)
            # Of several procedures on a rig, that of the run which stands in the table.
            if any(value.run == procedures.get(each.rig) for value in each.values)
            and len((own := _nights(each)).groups) > 1
        ),
    )


def _pair(on_rigs: Sequence[OnRig], base: int, against: int) -> Pair:
    sides = [on_rigs[place].values for place in (base, against)]
    if min(map(min, sides)) <= 0.0:
        return Pair(base=base, against=against, share=None, low=None, high=None)
    evidence = two_samples(*([math.log(value) for value in side] for side in sides))
    low = high = None
    if evidence.se is not None:
        reach = evidence.se * t_quantile(0.5 + _CONFIDENCE / 2.0, df=evidence.df)
        low, high = (math.expm1(evidence.log_ratio + sign * reach) for sign in (-1.0, 1.0))
    share = math.expm1(evidence.log_ratio)
    return Pair(base=base, against=against, share=share, low=low, high=high)


def _nights(each: Series) -> Nights:
    now = each.values[-1].fields
    same = [value for value in each.values if value.fields == now]
    groups = tuple(group([value.value for value in night]) for night in nights(same))
    analysis = one_way(groups) if len(groups) > 1 else None
    half = None
    if analysis is not None:
        half = analysis.u_mean * t_quantile(0.5 + _CONFIDENCE / 2.0, df=analysis.df_between)
    return Nights(
        rig=each.rig,
        groups=groups,
        analysis=analysis,
        half_width=half,
        left_out=len(each.values) - len(same),
    )


def _refuse(differs: Sequence[Differs]) -> None:
    problems = [
        Problem(
            code=f"{one.kind}-differs",
            what=f"{one.kind} {one.name} is {one.base} on {each.base} and {one.against} on "
            f"{each.rig}",
            where=(f"in {one.cells} cells",),
            do="measure the same on every rig, or say why it does not matter: --despite REASON, "
            "which is printed with the result",
        )
        for each in differs
        for one in each.differences
    ]
    if problems:
        raise AskedError(problems)
