"""Summaries of cells as plain values for JSON.

Pure. The shapes are described in harness/views/schemas.md.
"""

from __future__ import annotations

from dataclasses import fields

from harness.summary.cells import CellSummary, PassCounts
from harness.summary.estimates import Estimate


def as_json(summary: CellSummary) -> dict[str, object]:
    """Return *summary* as one element of ``cells`` in ``results --json``.

    A mean, spread or interval that is not measured is null, and ``why`` says why.
    ``figures_with_discarded`` is empty where nothing was discarded.
    """
    cell = summary.cell
    return {
        "run": summary.run,
        "rig": summary.rig,
        "title": cell.title,
        "scene": cell.scene,
        "setting": cell.setting,
        "conditions": dict(cell.levels),
        "group": summary.group,
        "state": summary.state.value,
        "passes": {each.name: getattr(summary.passes, each.name) for each in fields(PassCounts)},
        "figures": {each.name: _estimate_json(each) for each in summary.figures},
        "figures_with_discarded": {
            each.name: _estimate_json(each) for each in summary.with_discarded
        },
        "reused": None
        if summary.reused is None
        else {"run": summary.reused.run, "measured_at": summary.reused.measured_at},
        "flags": list(summary.flags),
        "marks": [{"attempt": attempt, "mark": mark} for attempt, mark in summary.marks],
        "superseded": [
            {
                "by": each.by,
                "reason": each.reason,
                "state": each.state.value,
                "attempts": list(each.attempts),
                "figures": {figure.name: _estimate_json(figure) for figure in each.figures},
            }
            for each in summary.superseded
        ],
    }


def _estimate_json(each: Estimate) -> dict[str, object]:
    shown: dict[str, object] = {
        "mean": each.mean,
        "sd": each.sd,
        "n": each.n,
        "half_width": each.half_width,
        "confidence": each.confidence,
        "interval": each.interval,
        "definition": each.definition,
        "unit": each.unit,
    }
    return shown if each.why is None else {**shown, "why": each.why}
