"""A run as a list of runs shows it, as plain values for JSON.

Pure. Light: `harness status` shows it and must start quickly.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from harness.store.standing import RunLine


def line_json(line: RunLine, *, interrupted: bool | None) -> dict[str, object]:
    """Return a run as a list of runs shows it, and whether its runner is gone (None: not known)."""
    standing = line.standing
    return {
        "run": line.run,
        "plan": line.plan_name,
        "rig": line.rig,
        "created_at": line.created_at,
        "phase": standing.phase,
        "since": standing.since,
        "interrupted": interrupted,
        "cells": {
            "all": line.cells,
            "open": line.open_cells,
            "accepted": standing.accepted,
            "short": standing.short,
            "failed": standing.failed,
        },
        "passes": standing.passes,
        "pass_in_progress": None
        if standing.cell is None
        else {"cell": standing.cell, "attempt": standing.attempt, "warm_up": standing.warm_up},
    }
