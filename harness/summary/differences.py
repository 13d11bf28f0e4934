"""What differs between two cells besides what is compared, by name.

Pure. Two cells are compared only where their procedures, the definition of the figure and the
fingerprint fields that a plan names under ``compare: same`` agree. What the conditions under
comparison are meant to change is no difference: their own levels, and the fields they name
under ``changes``. A named field that was not read on a side is a difference too: nobody can say
that it agrees.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from harness.plan.as_json import plain
from harness.rig.fingerprint_fields import fields_meant, title_build
from harness.rules.judgement import Figure
from harness.summary.sides import SideCell

_NOT_READ = "not read"
_MOST_SHOWN = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing that is not the same on both sides.

    Args:
        kind: ``procedure``, ``definition`` or ``fingerprint``.
        name: What differs.
        base: What it is there, as text.
        against: What it is on the other side.
        cells: How many rows it is so in.
    """

    kind: str
    name: str
    base: str
    against: str
    cells: int = 1


def row_differences(
    base: SideCell, against: SideCell, *, compared: Sequence[str], figure: str
) -> tuple[list[Difference], list[Difference]]:
    """Return what stands against comparing two sides, and what differs as well.

    Where several runs stand on a side, they must agree among themselves, too.

    Args:
        base: One side.
        against: The other.
        compared: The keys that are compared.
        figure: Name of the figure, which both sides have.
    """
    found: list[Difference] = []
    also: list[Difference] = []
    own_figure = {id(base): _figure(base, figure), id(against): _figure(against, figure)}
    for one, other, place in _held_together(base, against):
        # The passes of one side share one definition, or they made no row.
        figures = (own_figure[id(one)], own_figure.get(id(other), own_figure[id(one)]))
        for own, into in (
            (differences(one, other, compared=compared, figures=figures), found),
            (also_differs(one, other, compared=compared), also),
        ):
            into += [dataclasses.replace(each, name=f"{each.name}{place}") for each in own]
    return found, also


def _held_together(base: SideCell, against: SideCell) -> Iterator[tuple[SideCell, SideCell, str]]:
    """Yield what must agree, with where: both sides, and the runs within each of them."""
    yield base, against, ""
    for side, cell in (("the base", base), ("the other side", against)):
        for other in cell.others:
            if other.kept:
                yield cell, other, f" within {side} (run {cell.run}, run {other.run})"


def _figure(cell: SideCell, name: str) -> Figure:
    kept = (each for member in cell.members for each in member.kept)
    return next(figure for each in kept if (figure := each.figures.get(name)) is not None)


def differences(
    base: SideCell, against: SideCell, *, compared: Sequence[str], figures: tuple[Figure, Figure]
) -> tuple[Difference, ...]:
    """Return what stands against comparing two cells.

    Args:
        base: One cell.
        against: The other.
        compared: The keys that are compared.
        figures: The figure of one pass of each.
    """
    found = [*_procedure(base, against, compared)]
    if figures[0].definition != figures[1].definition:
        found.append(
            Difference(
                kind="definition",
                name=figures[0].name,
                base=figures[0].definition,
                against=figures[1].definition,
            )
        )
    exempt = _meant_to_change(base, against, compared)
    named = {
        name
        for side in (base, against)
        for field in side.plan.compare.same
        for name in fields_meant(field, titles=[side.cell.title])
    }
    found += [
        Difference(kind="fingerprint", name=name, base=one, against=other)
        for name in sorted(named - exempt)
        if (one := base.fingerprint.get(name, _NOT_READ))
        != (other := against.fingerprint.get(name, _NOT_READ))
        or (one == _NOT_READ and (base.run, base.group) != (against.run, against.group))
    ]
    return tuple(found)


def also_differs(
    base: SideCell, against: SideCell, *, compared: Sequence[str]
) -> tuple[Difference, ...]:
    """Return fields of the fingerprint that differ, and that no plan asks to be the same."""
    exempt = _meant_to_change(base, against, compared)
    titles = {title_build(title.title) for side in (base, against) for title in side.plan.titles}
    own = {title_build(base.cell.title), title_build(against.cell.title)}
    names = {*base.fingerprint, *against.fingerprint} - exempt - (titles - own)
    same = {*base.plan.compare.same, *against.plan.compare.same}
    meant = {name for field in same for name in fields_meant(field, titles=[base.cell.title])}
    return tuple(
        Difference(kind="fingerprint", name=name, base=one, against=other)
        for name in sorted(names - meant)
        if (one := base.fingerprint.get(name, _NOT_READ))
        != (other := against.fingerprint.get(name, _NOT_READ))
    )


def together(each_row: Sequence[Sequence[Difference]]) -> tuple[Difference, ...]:
    """Return the differences of many rows, equal ones once with how many rows have them."""
    counts: dict[Difference, int] = {}
    for row in each_row:
        for difference in row:
            counts[difference] = counts.get(difference, 0) + 1
    return tuple(dataclasses.replace(each, cells=count) for each, count in counts.items())


def _procedure(base: SideCell, against: SideCell, compared: Sequence[str]) -> list[Difference]:
    found = []
    one, other = _without(base.procedure, compared), _without(against.procedure, compared)
    for name in sorted({*one, *other}):
        for part, *texts in _parts(name, *map(_plain, (one.get(name), other.get(name)))):
            first, second = _where_they_part(*texts)
            found.append(Difference(kind="procedure", name=part, base=first, against=second))
    if base.plan.procedure != against.plan.procedure:
        found.append(
            Difference(
                kind="procedure",
                name="revision",
                base=base.plan.procedure or "none",
                against=against.plan.procedure or "none",
            )
        )
    return found


def _without(procedure: Mapping[str, object], compared: Sequence[str]) -> dict[str, object]:
    """Return a procedure less what is compared; each level of a condition by itself."""
    kept = {name: part for name, part in procedure.items() if name not in compared}
    levels = kept.pop("levels", {})
    assert isinstance(levels, Mapping)
    kept.update({f"level of {n}": part for n, part in levels.items() if n not in compared})
    return kept


def _meant_to_change(base: SideCell, against: SideCell, compared: Sequence[str]) -> set[str]:
    return {
        name
        for side in (base, against)
        for condition in side.plan.conditions
        if condition.name in compared
        for field in condition.changes
        for name in fields_meant(field, titles=[side.cell.title])
    }


def _parts(name: str, one: object, other: object) -> Iterator[tuple[str, str, str]]:
    """Yield each part in which two values differ, by a name that leads to it, with both texts."""
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        for key in dict.fromkeys([*one, *other]):
            yield from _parts(f"{name}.{key}", one.get(key), other.get(key))
        return
    if (
        isinstance(one, list | tuple)
        and isinstance(other, list | tuple)
        and len(one) == len(other)
        and all(isinstance(each, Mapping) for each in (*one, *other))
    ):
        for number, (first, second) in enumerate(zip(one, other, strict=True), start=1):
            yield from _parts(f"{name} {_called(first, number)}", first, second)
        return
    first_text, second_text = _text(one), _text(other)
    if first_text != second_text:
        yield name, first_text, second_text


def _plain(part: object) -> object:
    return json.loads(_text(part))


def _called(part: Mapping[str, object], number: int) -> str:
    """Return what a reader of the plan knows one of several by: its reading, else its number."""
    bound = part.get("bound", part)
    reading = bound.get("reading") if isinstance(bound, Mapping) else None
    return f"{number} ({reading})" if reading else str(number)


def _text(part: object) -> str:
    return json.dumps(part, sort_keys=True, ensure_ascii=False, default=plain)


def _where_they_part(first: str, second: str) -> tuple[str, str]:
    """Return two long texts from a little before the place where they part."""
    if max(len(first), len(second)) <= _MOST_SHOWN:
        return first, second
    place = next(
        (n for n, (a, b) in enumerate(zip(first, second, strict=False)) if a != b),
        min(len(first), len(second)),
    )
    start = max(0, place - 20)
    return _cut(first, start), _cut(second, start)


def _cut(text: str, start: int) -> str:
    piece = text[start : start + _MOST_SHOWN]
    before, after = ("…" if start else ""), ("…" if start + _MOST_SHOWN < len(text) else "")
    return f"{before}{piece}{after}"
