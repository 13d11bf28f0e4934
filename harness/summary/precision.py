"""The same cells on several rigs, and each rig's own nights.

Pure. Cells are put together by title, scene, setting and levels; of each rig stands the latest run
that has the cell, under the fingerprint it stands in. From six rigs on they have repeatability and
reproducibility (``harness.summary.between_rigs``); fewer have only their differences, rig by rig.
The nights of each rig stand beside (``harness.summary.nightly``).

A later run takes the place of an earlier one whatever it says, and which it took is named: nobody
chooses among runs by their numbers. Ratios are of logarithms, so a value that is not above 0 has
none; it is named, and stays in means and spreads.

What differs between the rigs is named: the procedure, the definition and the fields that a plan
wants the same need a reason, as for a comparison; other fields of the fingerprint stand beside.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from harness.errors import AskedError, Problem
from harness.plan.cells import Cell
from harness.rules.judgement import Figure
from harness.store.made_despite import KeptComparison
from harness.summary.between_rigs import LEAST_RIGS, Between, between
from harness.summary.despite import concerning
from harness.summary.differences import Difference, also_differs, differences, together
from harness.summary.latest_runs import Earlier, latest_of
from harness.summary.nightly import Nights, nights_of
from harness.summary.on_rigs import OnRig, Pair, no_ratio, on_rigs_of, pair
from harness.summary.series import Series, cell_figure
from harness.summary.sides import SideCell


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
        no_ratio: Values that no logarithm is of, in words.
    """

    cell: Cell
    figure: Figure
    rigs: tuple[OnRig, ...]
    between: Between | None
    pairs: tuple[Pair, ...]
    nights: tuple[Nights, ...]
    no_ratio: tuple[str, ...] = ()


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
        earlier: Cells left out since a later run of the same rig has them.
        kept: Where cells were put together despite differences before, and now.
    """

    cells: tuple[CellPrecision, ...]
    differs: tuple[Differs, ...]
    despite: str
    left_out: tuple[tuple[str, str], ...]
    earlier: tuple[Earlier, ...]
    kept: tuple[KeptComparison, ...] = ()

    @property
    def older(self) -> int:
        """Return how many cells of earlier runs and groups are left out."""
        return sum(each.cells for each in self.earlier)

    @property
    def must_differ(self) -> tuple[tuple[Differs, Difference], ...]:
        """Return every difference that needs a reason."""
        return tuple((each, one) for each in self.differs for one in each.differences)


def precision(
    found: Sequence[SideCell],
    *,
    histories: Sequence[Series],
    figure: str | None = None,
    with_marked: bool = False,
    despite: str = "",
    kept: Sequence[KeptComparison] = (),
) -> Precision:
    """Return what the rigs say of every cell.

    Args:
        found: The cells wanted, the latest run of each rig first.
        histories: Every kept pass of them on each rig, in order of time.
        figure: Its name; None: what each cell is known by.
        with_marked: Take marked passes in.
        despite: Why rigs are put together though they differ.
        kept: Every comparison of the stores that was made despite differences.

    Raises:
        AskedError: They differ in what they must not, and no reason is given.
    """
    latest, earlier = latest_of(found)
    left_out: list[tuple[str, str]] = []
    done: list[CellPrecision] = []
    differ: dict[tuple[str, str], tuple[list[tuple[Difference, ...]], list[tuple[Difference, ...]]]]
    differ = {}
    for rigs in latest.values():
        one = next(iter(rigs.values()))
        name = figure or cell_figure(one.plan, one.cell)
        on_rigs, figures = on_rigs_of(rigs, name, with_marked, left_out)
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
    before = concerning(
        kept,
        [
            (one.side, other.side)
            for cell in done
            for one, other in itertools.combinations(cell.rigs, 2)
        ],
    )
    if not despite:
        _refuse(differs, before)
    return Precision(
        cells=tuple(done),
        differs=differs,
        despite=despite,
        left_out=tuple(left_out),
        earlier=earlier,
        kept=before,
    )


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
        else tuple(pair(on_rigs, *two) for two in itertools.combinations(range(len(on_rigs)), 2)),
        nights=tuple(
            own
            for each in sorted(histories, key=lambda one: one.rig)
            # Of several procedures on a rig, that of the run which stands in the table.
            if any(value.run == procedures.get(each.rig) for value in each.values)
            and len((own := nights_of(each)).groups) > 1
        ),
        no_ratio=no_ratio(on_rigs, figure, pairs=not enough),
    )


def _refuse(differs: Sequence[Differs], before: Sequence[KeptComparison]) -> None:
    problems = [
        Problem(
            code=f"{one.kind}-differs",
            what=f"{one.kind} {one.name} is {one.base} on {each.base} and {one.against} on "
            f"{each.rig}",
            where=(
                "in 1 cell" if one.cells == 1 else f"in {one.cells} cells",
                *(
                    f"put together despite differences before, by {kept.made.by}: "
                    f"{kept.made.reason}"
                    for kept in before
                ),
            ),
            do="measure the same on every rig, or say why it does not matter: --despite REASON, "
            "which is kept and printed with the result",
        )
        for each in differs
        for one in each.differences
    ]
    if problems:
        raise AskedError(problems)
