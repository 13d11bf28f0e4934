"""Two selections of cells -> pairs of cells that differ in what is compared and in nothing else.

Pure. The keys that are named for the base and for the other side are what is compared; cells
are matched by title, scene, setting and every condition that is not among them. A cell without
a partner is listed. A cell that was measured in several runs is taken from the latest, unless a
run is named; the others are listed, too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.errors import AskedError, Problem
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
    selections: Mapping[str, Mapping[str, str]]


def match(
    found: Sequence[SideCell],
    *,
    base: Mapping[str, str],
    against: Mapping[str, str],
    where: Mapping[str, str],
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
        chosen = _chosen(found, {**where, **wanted}, older)
        sides.append(_by_match(chosen, compared, side=name))
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


def _chosen(
    found: Sequence[SideCell], wanted: Mapping[str, str], older: list[SideCell]
) -> list[SideCell]:
    """Return the cells that have all of *wanted*, each from one run and group.

    What is left out goes to *older*.
    """
    taken: dict[tuple[str, str], SideCell] = {}
    for each in found:
        if any(each.value(key) != value for key, value in wanted.items()):
            continue
        if "group" not in wanted and not each.current:
            older.append(each)
            continue
        if taken.setdefault((each.rig, each.cell.key), each) is not each:
            older.append(each)
    return list(taken.values())


def _by_match(
    chosen: Sequence[SideCell], compared: Sequence[str], *, side: str
) -> dict[Match, SideCell]:
    """Return the cells of a side by what they are matched by."""
    found: dict[Match, SideCell] = {}
    for each in chosen:
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
        if key in second and second[key] is cell:
            raise AskedError(
                Problem(
                    code="same-side",
                    what="both sides are the same cell",
                    where=(cell.label,),
                    do="name what differs, as in --base slot=alone --against slot=shared",
                )
            )


def refuse_unknown(found: Sequence[SideCell], **selections: Mapping[str, str]) -> None:
    """Refuse keys and values that no cell has: a slip selects nothing.

    Args:
        found: Every cell that may be taken.
        selections: Keys and values by the option they were given with.

    Raises:
        AskedError: All of them.
    """
    problems = [
        problem
        for option, wanted in selections.items()
        for problem in _unknown(found, wanted, option=option)
    ]
    if problems:
        raise AskedError(problems)


def _unknown(found: Sequence[SideCell], wanted: Mapping[str, str], *, option: str) -> list[Problem]:
    """Return a problem for every key and value that no cell has."""
    problems = []
    for key, value in wanted.items():
        there = sorted({text for each in found if (text := each.value(key)) is not None})
        if value in there:
            continue
        conditions = {name for each in found for name, _ in each.cell.levels}
        known = f"write one of {', '.join(there)}" if there else ""
        problems.append(
            Problem(
                code="bad-selection",
                what=f"no cell has {key}={value} (--{option})",
                do=known or f"select by {', '.join((*KEYS, *sorted(conditions)))}",
            )
        )
    return problems


def _unique(cells: Sequence[SideCell]) -> tuple[SideCell, ...]:
    return tuple({(each.run, each.group, each.cell.key): each for each in cells}.values())
