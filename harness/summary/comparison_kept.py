"""What is kept of a comparison that was made despite differences, of two sides or of rigs.

Pure.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from harness.store.made_despite import CellOfSide, MadeDespite
from harness.summary.comparison import Asked, Compared
from harness.summary.despite import places
from harness.summary.differences import Difference
from harness.summary.precision import CellPrecision, Precision
from harness.summary.selections import Selection


def made_despite(
    *,
    asked: Asked,
    band: float,
    selections: Mapping[str, Selection],
    rows: Sequence[Compared],
    differences: Sequence[Difference],
    by: str,
    harness: str,
) -> MadeDespite:
    """Return what is kept of a comparison.

    Args:
        asked: What was asked; its reason is kept.
        band: The band that counted.
        selections: Of base, against and both.
        rows: What came of it.
        differences: What the sides differ in.
        by: Who made it.
        harness: The version of the harness.
    """
    cells = [
        CellOfSide(row=number, side=side, run=run, group=group, cell=key)
        for number, each in enumerate(rows, 1)
        for side, own in (("base", each.row.base), ("against", each.row.against))
        for run, group, key in places(own.cell)
    ]
    return MadeDespite(
        by=by,
        harness=harness,
        reason=asked.despite,
        asked={
            "selections": {
                side: {key: list(values) for key, values in own.items()}
                for side, own in selections.items()
            },
            "figure": asked.figure,
            "band": band,
            "correction": asked.correction.value,
            "weights": dict(asked.weights),
            "with_marked": asked.with_marked,
            "pool_spread": asked.pool_spread,
            # What is kept already says nothing of it: named only where it was asked for.
            **({"unit": "night"} if asked.by_night else {}),
        },
        differences=tuple(
            {
                "kind": each.kind,
                "name": each.name,
                "base": each.base,
                "against": each.against,
                "rows": each.cells,
            }
            for each in differences
        ),
        cells=tuple(cells),
        rows=tuple(_row(each) for each in rows),
    )


def put_together(
    found: Precision,
    *,
    where: Selection,
    figure: str | None,
    with_marked: bool,
    stores: int,
    runs: Collection[tuple[str, str]],
    by: str,
    harness: str,
) -> MadeDespite:
    """Return what one store keeps of rigs that were put together: a row for each cell.

    Args:
        found: What came of it, with its reason.
        where: What was selected.
        figure: What was asked for; None: what each cell is known by.
        with_marked: Whether marked passes counted.
        stores: How many stores were put together.
        runs: (rig, run) of those that the store holds: of the others it has no cell.
        by: Who made it.
        harness: The version of the harness.
    """
    return MadeDespite(
        by=by,
        harness=harness,
        reason=found.despite,
        asked={
            "command": "precision",
            "selections": {"where": {key: list(values) for key, values in where.items()}},
            "figure": figure,
            "with_marked": with_marked,
            "stores": stores,
        },
        differences=tuple(
            {
                "kind": one.kind,
                "name": one.name,
                "base": f"{one.base} on {each.base}",
                "against": f"{one.against} on {each.rig}",
                "rows": one.cells,
            }
            for each, one in found.must_differ
        ),
        cells=tuple(
            CellOfSide(
                row=number, side=one.side.rig, run=one.side.run, group=one.side.group,
                cell=each.cell.key,
            )
            for number, each in enumerate(found.cells, 1)
            for one in each.rigs
            if (one.side.rig, one.side.run) in runs
        ),
        rows=tuple(map(_rigs_row, found.cells)),
    )  # fmt: skip


def _rigs_row(each: CellPrecision) -> dict[str, object]:
    spreads = None if each.between is None else each.between.spreads
    return {
        "cell": each.cell.label,
        "figure": each.figure.name,
        "definition": each.figure.definition,
        "rigs": [
            {"rig": one.side.rig, "run": one.side.run, "n": one.group.n, "mean": one.group.mean}
            for one in each.rigs
        ],
        "s_r": None if spreads is None else spreads.sd_r,
        "s_R": None if spreads is None else spreads.sd_big_r,
    }


def _row(each: Compared) -> dict[str, object]:
    evidence = each.row.evidence
    return {
        "base": each.row.base.cell.cell.label,
        "against": each.row.against.cell.cell.label,
        "figure": each.row.figure.name,
        "definition": each.row.figure.definition,
        "by": evidence.unit.value,
        "values": list(evidence.n),
        "margin": each.margin.margin,
        "low": each.margin.low,
        "high": each.margin.high,
        "word": each.margin.word.value,
    }
