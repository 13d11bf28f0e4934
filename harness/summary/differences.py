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
from collections.abc import Mapping, Sequence
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
        first, second = _text(one.get(name)), _text(other.get(name))
        if first != second:
            shown = _where_they_part(first, second)
            found.append(Difference(kind="procedure", name=name, base=shown[0], against=shown[1]))
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
