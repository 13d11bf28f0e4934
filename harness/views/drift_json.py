"""Drift as the JSON other programs rely on; its shape is described in schemas.md.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.summary.apart import Apart
from harness.summary.changed import Changed
from harness.summary.drift import Bounds, Drift, Signal
from harness.summary.series import Per
from harness.summary.usual import Limits

SCHEMA = "harness.drift/1"


def as_json(
    found: Sequence[Drift],
    *,
    apart: Mapping[str, Sequence[Apart]],
    per: Per,
    weight: float,
    reach: float,
    handbook: bool,
    not_read: Sequence[str],
) -> dict[str, object]:
    """Return the object of ``drift --json``."""
    return {
        "schema": SCHEMA,
        "per": per.value,
        "weight": weight,
        "reach": reach,
        "handbook": handbook,
        "series": [_series(each) for each in found],
        "apart": [_apart(run, one) for run, own in apart.items() for one in own],
        "not_read": list(not_read),
    }


def _series(each: Drift) -> dict[str, object]:
    own = each.series
    values: list[dict[str, object]] = []
    for place, value in enumerate(own.values):
        average = each.averages[place] if each.averages else None
        values.append(
            {
                "at": value.at.isoformat(),
                "run": value.run,
                "attempt": value.attempt,
                "passes": value.passes,
                "value": value.value,
                "average": average.z if average else None,
                "average_low": average.low if average else None,
                "average_high": average.high if average else None,
            }
        )
    return {
        "rig": own.rig,
        "cell": own.cell.key,
        "title": own.cell.title,
        "scene": own.cell.scene,
        "setting": own.cell.setting,
        "conditions": dict(own.cell.levels),
        "reference": own.reference,
        "figure": own.figure,
        "unit": own.unit,
        "definition": own.definition,
        "procedure": own.procedure,
        "left_out": own.left_out,
        "limits": _limits(each.limits, each.bounds),
        "nights_p": each.nights.p if each.nights is not None else None,
        "values": values,
        "signals": [_signal(one) for one in each.signals],
        "changes": [_change(one) for one in each.changes],
    }


def _limits(limits: Limits | None, bounds: Bounds | None) -> dict[str, object] | None:
    if limits is None or bounds is None:
        return None
    return {
        "centre": limits.centre,
        "low": bounds.low,
        "high": bounds.high,
        "leap": bounds.leap,
        "handbook_low": limits.low,
        "handbook_high": limits.high,
        "handbook_leap": limits.range_high,
        "sd": limits.sd,
        "values": limits.values,
        "provisional": limits.provisional,
    }


def _signal(one: Signal) -> dict[str, object]:
    return {
        "chart": one.chart.value,
        "first": one.first,
        "last": one.last,
        "side": "high" if one.high else "low",
        "began": one.began,
        "share": one.share,
        "changes": [change.place for change in one.changes],
    }


def _change(one: Changed) -> dict[str, object]:
    return {
        "place": one.place,
        "fields": [{"name": name, "was": was, "is": now} for name, was, now in one.fields],
        "before": one.before,
        "after": one.after,
        "step": one.step,
        "low": one.low,
        "high": one.high,
        "told": one.told,
    }


def _apart(run: str, one: Apart) -> dict[str, object]:
    return {
        "run": run,
        "cell": one.cell,
        "attempts": list(one.attempts),
        "values": list(one.values),
        "share": one.share,
        "allowed": one.allowed,
        "cells": [{"cell": key, "group": group} for key, group in one.places],
    }
