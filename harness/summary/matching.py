"""Two selections of cells -> pairs of cells that differ in what is compared and in nothing else.

Pure. The keys that are named for the base and for the other side are what is compared; cells
are matched by title, scene, setting and every condition that is not among them. A cell without
a partner is listed. A cell that was measured in several runs is taken from the latest, unless
runs are named; the others are listed, too. Where several runs are named for a side, each of
them is one value of its cells (``harness.summary.rows``); groups are never put together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from harness.errors import AskedError, Problem
from harness.summary.selections import Selection, is_wanted, unknown
from harness.summary.sides import SideCell

#: Keys of a selection that are no condition.
KEYS = ("rig", "run", "title", "scene", "setting", "group")

#: What a cell is matched by: title, scene, setting, other levels.
Match = tuple[str, str, str, tuple[tuple[str, str], ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """What two selections have to do with each other.

    Args:
        pairs: Base and against.
        only_base: Cells of the base without a partner.
        only_against: Cells of the other side without one.
        older: Cells left out, since a later run has them too.
        compared: The keys that differ between the sides, as they were named.
        selections: The keys and values of base, against and where.
    """

    pairs: tuple[tuple[SideCell, SideCell], ...]
    only_base: tuple[SideCell, ...]
    only_against: tuple[SideCell, ...]
    older: tuple[SideCell, ...]
    compared: tuple[str, ...]
    selections: Mapping[str, Selection]


def match(
    found: Sequence[SideCell],
    *,
    base: Selection,
    against: Selection,
    where: Selection,
) -> Matched:
    """Return the pairs of the two selections.

    Args:
        found: Every cell that may be taken, the latest run first.
        base: Keys and values of the base; ``against`` those of the other side, ``where``
            those of both.
        against: See above.
        where: See above.

    Raises:
        AskedError: A key or value that no cell has, sides that are the same, or a side on
            which several cells have one partner.
    """
    refuse_unknown(found, base=base, against=against, where=where)
    compared = tuple(dict.fromkeys([*base, *against]))
    older: list[SideCell] = []
    sides = []
    for name, wanted in (("base", base), ("against", against)):
        cells = _chosen(found, {**where, **wanted}, older)
        sides.append(_by_match(cells, compared, side=name))
    first, second = sides
    _refuse_same(first, second)
    return Matched(
        pairs=tuple((first[key], second[key]) for key in first if key in second),
        only_base=tuple(cell for key, cell in first.items() if key not in second),
        only_against=tuple(cell for key, cell in second.items() if key not in first),
        older=_unique(older),
        compared=compared,
        selections={"base": base, "against": against, "where": where},
    )


def _chosen(found: Sequence[SideCell], wanted: Selection, older: list[SideCell]) -> list[SideCell]:
    """Return the cells that have all of *wanted*, each with all the runs that are named.

    What is left out goes to *older*.
    """
    several = len(wanted.get("run", ())) > 1
    taken: dict[tuple[str, str], list[SideCell]] = {}
    for each in found:
        if not is_wanted(each.value, wanted):
            continue
        if "group" not in wanted and not each.current:
            older.append(each)
            continue
        own = taken.setdefault((each.rig, each.cell.key), [])
        for other in own:
            if other.run == each.run:
                raise _two_groups(other, each)
        if own and not several:
            older.append(each)
        elif each.same_passes not in {other.same_passes for other in own}:
            own.append(each)  # what a run took over is told by the run that measured it
    return [replace(own[0], others=tuple(own[1:])) if own[1:] else own[0] for own in taken.values()]


def _two_groups(one: SideCell, other: SideCell) -> AskedError:
    return AskedError(
        Problem(
            code="ambiguous-side",
            what="a side has two groups of one cell, which are never averaged together",
            where=(one.label, other.label),
            do="name one group, group=1, or leave group= out and take the one that stands",
        )
    )


def _by_match(
    cells: Sequence[SideCell], compared: Sequence[str], *, side: str
) -> dict[Match, SideCell]:
    """Return the cells of a side by what they are matched by."""
    found: dict[Match, SideCell] = {}
    for each in cells:
        key = _match(each, compared)
        other = found.setdefault(key, each)
        if other is not each:
            differ = _told_apart(other, each)
            raise AskedError(
                Problem(
                    code="ambiguous-side",
                    what=f"the side --{side} has two cells that would stand for one",
                    where=(other.label, each.label),
                    do=f"name one of them: add {differ} to --{side} or to --where",
                )
            )
    return found


def _match(each: SideCell, compared: Sequence[str]) -> Match:
    def own(key: str, value: str) -> str:
        return "" if key in compared else value

    cell = each.cell
    return (
        own("title", cell.title),
        own("scene", cell.scene),
        own("setting", cell.setting),
        tuple(sorted(pair for pair in cell.levels if pair[0] not in compared)),
    )


def _told_apart(one: SideCell, other: SideCell) -> str:
    """Return a key and a value by which *one* is told from *other*."""
    keys = (*(name for name, _ in one.cell.levels), *KEYS)
    return next(f"{key}={one.value(key)}" for key in keys if one.value(key) != other.value(key))


def _refuse_same(first: Mapping[Match, SideCell], second: Mapping[Match, SideCell]) -> None:
    for key, cell in first.items():
        other = second.get(key)
        if other is not None and (other.run, other.same_passes) == (cell.run, cell.same_passes):
            raise AskedError(
                Problem(
                    code="same-side",
                    what="both sides are the same cell",
                    where=(cell.label,),
                    do="name what differs, as in --base slot=alone --against slot=shared",
                )
            )


def refuse_unknown(found: Sequence[SideCell], **selections: Selection) -> None:
    """Refuse keys and values that no cell has: a slip selects nothing.

    Args:
        found: Every cell that may be taken.
        selections: Keys and values by the option they were given with.

    Raises:
        AskedError: All of them.
    """
    keys = (*KEYS, *sorted({name for each in found for name, _ in each.cell.levels}))
    values = [each.value for each in found]
    problems = [
        problem
        for option, wanted in selections.items()
        for problem in unknown(values, wanted, option=option, keys=keys)
    ]
    if problems:
        raise AskedError(problems)


def _unique(cells: Sequence[SideCell]) -> tuple[SideCell, ...]:
    return tuple({(each.run, each.group, each.cell.key): each for each in cells}.values())
