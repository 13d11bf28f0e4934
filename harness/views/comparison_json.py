"""``compare --json``: the object that other programs rely on; its shape is in schemas.md.

Pure.
"""

from __future__ import annotations

from harness.summary.comparison import METHOD, Compared, Comparison, Overall
from harness.summary.differences import Difference
from harness.summary.margins import ALIKE_CONFIDENCE, CONFIDENCE, Margin
from harness.summary.needed import Needed
from harness.summary.rate_setters import RateSetter
from harness.summary.rows import SideOfRow
from harness.summary.sides import SideCell
from harness.views.comparison_legend import legend
from harness.views.costs import row_cost_json
from harness.views.despite import despite_json

SCHEMA = "harness.compare/1"


def as_json(found: Comparison) -> dict[str, object]:
    """Return the object of ``compare --json``."""
    names = list(dict.fromkeys(each.row.figure.name for each in found.rows))
    return {
        "schema": SCHEMA,
        "figure": names[0] if len(names) == 1 else None,
        "figures": names,
        "band": found.band,
        "confidence": CONFIDENCE,
        "alike_confidence": ALIKE_CONFIDENCE,
        "method": METHOD,
        "correction": found.asked.correction.value,
        "compared": list(found.compared),
        "selections": {
            side: {key: list(values) for key, values in own.items()}
            for side, own in found.selections.items()
        },
        "rows": [_row(each, found.compared) for each in found.rows],
        "overall": _overall(found.overall),
        "overall_why": found.overall_why or None,
        "differences": [_difference(each) for each in found.differences],
        "also_differ": [_difference(each) for each in found.also],
        "despite": found.asked.despite or None,
        "kept": [despite_json(each) for each in found.kept],
        "left_out": [{"cell": label, "why": why} for label, why in found.left_out],
        "older": [_where(each) for each in found.older],
        "legend": list(legend(found)) if found.rows else [],
    }


def _row(each: Compared, compared: tuple[str, ...]) -> dict[str, object]:
    row, cell = each.row, each.row.base.cell.cell
    evidence = row.evidence
    fieller, bootstrap = each.fieller, each.bootstrap
    return {
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "conditions": {name: level for name, level in cell.levels if name not in compared},
        "figure": row.figure.name,
        "unit": row.figure.unit,
        "definition": row.figure.definition,
        "better": row.better.value,
        "base": _side(row.base),
        "against": _side(row.against),
        **_margin(each.margin),
        "word_alone": each.margin.alone.value,
        "passes_needed": each.needed.expected if each.needed else None,
        "passes_needed_range": _range(each.needed),
        "by": evidence.unit.value,
        "paired": evidence.paired,
        "values": {"base": evidence.n[0], "against": evidence.n[1]},
        "df": evidence.df if evidence.se is not None else None,
        "pooled_over": evidence.pooled_over,
        "fieller": None if fieller is None else {"low": fieller[0], "high": fieller[1]},
        "bootstrap": None if bootstrap is None else {"low": bootstrap[0], "high": bootstrap[1]},
        "cost": row_cost_json(row),
        "flags": list(row.flags),
        "notes": list(row.notes),
    }


def _side(side: SideOfRow) -> dict[str, object]:
    return {
        "mean": side.mean,
        "n": side.n,
        "runs": [each.run for each in side.cell.members],
        **_where(side.cell),
        "sets_rate": _setter(side.setter),
    }


def _where(cell: SideCell) -> dict[str, object]:
    return {
        "cell": cell.cell.key,
        "run": cell.run,
        "rig": cell.rig,
        "group": cell.group,
        "setting": cell.cell.setting,
        "conditions": dict(cell.cell.levels),
    }


def _setter(setter: RateSetter) -> dict[str, object]:
    return {
        "part": setter.part.value,
        "gpu_load": setter.gpu_load,
        "cpu_load": setter.cpu_load,
        "limits": dict(setter.limits),
    }


def _margin(margin: Margin) -> dict[str, object]:
    return {
        "margin": margin.margin,
        "low": margin.low,
        "high": margin.high,
        "low_90": margin.low_90,
        "high_90": margin.high_90,
        "word": margin.word.value,
    }


def _range(needed: Needed | None) -> list[int | None] | None:
    return None if needed is None else [needed.low, needed.high]


def _overall(overall: Overall | None) -> dict[str, object] | None:
    if overall is None:
        return None
    return {
        **_margin(overall.these),
        "of": "these titles",
        "by": overall.found.these.unit.value,
        "flags": list(overall.flags),
        "titles": overall.found.titles,
        "ratios": dict(overall.found.ratios),
        "like_these": None if overall.like_these is None else _margin(overall.like_these),
    }


def _difference(each: Difference) -> dict[str, object]:
    return {
        "kind": each.kind,
        "name": each.name,
        "base": each.base,
        "against": each.against,
        "rows": each.cells,
    }
