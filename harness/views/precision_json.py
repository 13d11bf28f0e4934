"""Precision as the JSON other programs rely on; its shape is described in schemas.md.

Pure.
"""

from __future__ import annotations

from dataclasses import asdict

from harness.summary.between_rigs import LEAST_RIGS, LIMIT, Between, Spreads
from harness.summary.consistency import Consistency
from harness.summary.nightly import Nights
from harness.summary.on_rigs import Pair
from harness.summary.precision import CellPrecision, Differs, Precision
from harness.views.despite import despite_json

SCHEMA = "harness.precision/1"


def as_json(found: Precision) -> dict[str, object]:
    """Return the object of ``precision --json``."""
    return {
        "schema": SCHEMA,
        "confidence": 0.95,
        "least_rigs": LEAST_RIGS,
        "despite": found.despite or None,
        "cells": [_cell(each) for each in found.cells],
        "differs": [_differs(each) for each in found.differs],
        "left_out": [{"cell": label, "why": why} for label, why in found.left_out],
        "older": found.older,
        "earlier": [
            {
                "rig": each.rig,
                "run": each.run,
                "group": each.group,
                "taken": each.taken or None,
                "cells": each.cells,
            }
            for each in found.earlier
        ],
        "kept": [despite_json(each) for each in found.kept],
    }


def _cell(each: CellPrecision) -> dict[str, object]:
    many = each.between
    return {
        "cell": each.cell.key,
        "title": each.cell.title,
        "scene": each.cell.scene,
        "setting": each.cell.setting,
        "conditions": dict(each.cell.levels),
        "figure": each.figure.name,
        "unit": each.figure.unit,
        "definition": each.figure.definition,
        "rigs": [
            {
                "rig": one.side.rig,
                "run": one.side.run,
                "n": one.group.n,
                "mean": one.group.mean,
                "sd": one.group.sd,
                "h": many.h[place] if many is not None and many.h is not None else None,
                "k": many.k[place] if many is not None else None,
            }
            for place, one in enumerate(each.rigs)
        ],
        "between": None if many is None else _between(each, many),
        "pairs": [_pair(pair, each) for pair in each.pairs],
        "nights": [_nights(own) for own in each.nights],
        "no_ratio": list(each.no_ratio),
    }


def _between(each: CellPrecision, many: Between) -> dict[str, object]:
    names = [one.side.rig for one in each.rigs]
    return {
        "spreads": _spreads(many.spreads),
        "tests": [_test(test, names) for test in many.tests],
        "outliers": [{"rig": names[place], "test": test} for place, test in many.outliers],
        "without_outliers": None if many.without is None else _spreads(many.without),
    }


def _spreads(found: Spreads) -> dict[str, object]:
    return {
        "rigs": found.analysis.groups,
        "mean": found.analysis.mean,
        "s_r": found.sd_r,
        "s_rigs": found.sd_rigs,
        "s_R": found.sd_big_r,
        "limit_r": LIMIT * found.sd_r,
        "limit_R": LIMIT * found.sd_big_r,
        "s_r_known": found.known_r,
        "s_R_known": found.known_big_r,
    }


def _test(test: Consistency, names: list[str]) -> dict[str, object]:
    return {
        "test": test.name,
        "rigs": [names[place] for place in test.places],
        "statistic": test.statistic,
        "critical_5": test.critical_5,
        "critical_1": test.critical_1,
        "standing": test.standing.value,
    }


def _pair(pair: Pair, each: CellPrecision) -> dict[str, object]:
    return {
        "base": each.rigs[pair.base].side.rig,
        "against": each.rigs[pair.against].side.rig,
        "share": pair.share,
        "low": pair.low,
        "high": pair.high,
    }


def _nights(own: Nights) -> dict[str, object]:
    found = own.analysis
    assert found is not None
    return {
        "rig": own.rig,
        "nights": [{"n": night.n, "mean": night.mean, "sd": night.sd} for night in own.groups],
        "mean": found.mean,
        "half_width": own.half_width,
        "s_within": found.sd_within,
        "s_between": found.sd_between,
        "f": found.f,
        "p": found.p,
        "u_mean": found.u_mean,
        "u_mean_pooled": found.u_mean_pooled,
        "left_out": own.left_out,
    }


def _differs(each: Differs) -> dict[str, object]:
    return {
        "base": each.base,
        "against": each.rig,
        "differences": [asdict(one) for one in each.differences],
        "also": [asdict(one) for one in each.also],
    }
