"""Of each rig the latest run that has a cell, and what it takes the place of.

Pure. A later run stands whatever it says: nobody chooses among runs by their numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.summary.sides import SideCell


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """Cells of an earlier run, or another group of a run, in whose place a later run stands.

    Args:
        rig: The rig.
        run: The earlier run; ``group`` of it.
        group: See above.
        taken: The run that stands in the table; empty: the earlier cells have no later ones.
        cells: How many.
    """

    rig: str
    run: str
    group: int
    taken: str
    cells: int


def latest_of(
    found: Sequence[SideCell],
) -> tuple[dict[str, dict[str, SideCell]], tuple[Earlier, ...]]:
    """Return cell -> rig -> what stands for it, and what is left out for it.

    Args:
        found: The cells wanted, the latest run of each rig first.
    """
    latest: dict[str, dict[str, SideCell]] = {}
    others: list[SideCell] = []
    for side in found:
        rigs = latest.setdefault(side.cell.key, {})
        before = rigs.get(side.rig)
        if side.current and (before is None or (side.kept and not before.kept)):
            rigs[side.rig] = side
        elif side.kept:
            others.append(side)
    counts: dict[tuple[str, str, int, str], int] = {}
    for side in others:
        stands = latest[side.cell.key].get(side.rig)
        key = side.rig, side.run, side.group, "" if stands is None else stands.run
        counts[key] = counts.get(key, 0) + 1
    return latest, tuple(
        Earlier(rig=rig, run=run, group=group, taken=taken, cells=cells)
        for (rig, run, group, taken), cells in counts.items()
    )
