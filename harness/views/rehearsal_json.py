"""A rehearsal as JSON.

Pure.
"""

from __future__ import annotations

from datetime import tzinfo

from harness.plan.cells import Cell
from harness.run.records import CellState
from harness.summary.assumed import Assumed
from harness.summary.diary import Rehearsal
from harness.views.rehearsal import WallClock

SCHEMA = "harness.rehearse/1"


def as_json(
    name: str,
    told: Rehearsal,
    taken: Assumed,
    cells: dict[str, Cell],
    *,
    zone: tzinfo | None,
    person_s: float,
    seed: int | None,
) -> dict[str, object]:
    """Return the object of ``rehearse --json``; its shape is described in schemas.md."""
    when = WallClock(told.start, zone)

    def at(seconds: float) -> str:
        return when.at(seconds).isoformat(timespec="seconds")

    return {
        "schema": SCHEMA,
        "plan": name,
        "cells": len(cells),
        "passes": told.count("pass"),
        "warm_ups": told.count("warm-up"),
        "reference_passes": told.count("reference"),
        "person_steps": len(told.steps),
        "seconds": told.seconds,
        "spent": dict(told.spent),
        "start": at(0.0),
        "finish": None if told.finish is None else at(told.seconds),
        "night_end": None
        if told.night_end is None
        else at((told.night_end - told.start).total_seconds()),
        "left_over": len(told.left_over),
        "left_over_cells": [{"cell": key, "label": cells[key].label} for key in told.left_over],
        "faults": seed,
        "hold": None
        if told.hold is None
        else {
            "at": at(told.hold.at_s),
            "fault": told.hold.fault,
            "reason": told.hold.reason,
            "do": told.hold.do,
        },
        "states": {
            state.value: sum(each is state for each in told.states.values()) for state in CellState
        },
        "taken": {
            "person_s": person_s,
            "lengths": [
                {
                    "title": each.title,
                    "scene": each.scene,
                    "seconds": each.seconds,
                    "earlier_passes": each.passes,
                    "time_limit": each.bounded,
                }
                for each in taken.lengths
            ],
            "temperatures": [
                {
                    "reading": each.reading,
                    "rest_c": each.thermal.room_c,
                    "loaded_c": each.thermal.hot_c,
                    "time_constant_s": each.thermal.tau_s,
                    "at_once_c": each.thermal.step_c,
                    "earlier_passes": each.passes,
                    "earlier_waits": each.waits,
                }
                for each in taken.parts
            ],
        },
        "steps": [
            {
                "step": each.step,
                "say": list(each.say),
                "opens_case": each.opens_case,
                "reboot": each.reboot,
                "asked": at(each.asked_s),
                "done": at(each.done_s),
            }
            for each in told.steps
        ],
        "order": [
            {
                "at": at(each.at_s),
                "cell": each.cell,
                "attempt": each.attempt,
                "what": each.what,
                "waited_s": each.waited_s,
                "seconds": each.seconds,
                "verdict": each.verdict.value,
                "reason": each.reason,
            }
            for each in told.passes
        ],
    }
