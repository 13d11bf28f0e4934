"""Which kept comparisons, made despite differences, concern a cell or a later comparison.

Pure. Whoever holds the same cells against each other later, either way round, is told who did it
before and why, whatever is asked now.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from harness.store.made_despite import CellOfSide, KeptComparison, to_body
from harness.summary.sides import SideCell

#: A cell where it was measured: run, group, key.
_Place = tuple[str, int, str]


def concerning(
    kept: Iterable[KeptComparison], pairs: Iterable[tuple[SideCell, SideCell]]
) -> tuple[KeptComparison, ...]:
    """Return those of *kept* that held some of the same cells against each other."""
    now = {
        frozenset((one, other))
        for base, against in pairs
        for one in places(base)
        for other in places(against)
    }
    return tuple(each for each in kept if not now.isdisjoint(_pairs_of(each.made.cells)))


def joined(kept: Iterable[KeptComparison]) -> tuple[KeptComparison, ...]:
    """Return what several stores keep, each comparison once.

    One over several stores is kept in each, with the cells of that store alone.
    """
    found: dict[str, KeptComparison] = {}
    for each in kept:
        key = to_body(replace(each.made, cells=()))
        before = found.get(key)
        if before is None:
            found[key] = each
            continue
        cells = dict.fromkeys((*before.made.cells, *each.made.cells))
        found[key] = replace(
            before,
            at=min(before.at, each.at),
            made=replace(before.made, cells=tuple(sorted(cells, key=lambda one: one.row))),
        )
    return tuple(found.values())


def about_cell(
    kept: Iterable[KeptComparison], *, run: str, cell: str
) -> tuple[KeptComparison, ...]:
    """Return those of *kept* in which a cell of a run stood."""
    return tuple(
        each for each in kept if any((one.run, one.cell) == (run, cell) for one in each.made.cells)
    )


def places(cell: SideCell) -> Iterator[_Place]:
    """Yield run, group and key of a cell in each of its runs."""
    for each in cell.members:
        yield each.run, each.group, each.cell.key


def _pairs_of(cells: Sequence[CellOfSide]) -> Iterator[frozenset[_Place]]:
    sides: dict[int, dict[str, list[_Place]]] = {}
    for each in cells:
        own = sides.setdefault(each.row, {}).setdefault(each.side, [])
        own.append((each.run, each.group, each.cell))
    for row in sides.values():
        for first, second in itertools.combinations(row.values(), 2):
            yield from (frozenset(pair) for pair in itertools.product(first, second))
