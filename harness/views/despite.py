"""A comparison that was made despite differences: as a line, and as JSON.

Pure.
"""

from __future__ import annotations

from harness.store.made_despite import KeptComparison


def despite_words(kept: KeptComparison) -> str:
    """Return who compared what despite which differences, when and why."""
    made = kept.made
    names = ", ".join(f"{each['kind']} {each['name']}" for each in made.differences)
    return (
        f"{kept.at:%Y-%m-%d %H:%M} UTC, {made.by}, harness {made.harness}: {made.reason} "
        f"(differing: {names})"
    )


def despite_json(kept: KeptComparison) -> dict[str, object]:
    """Return it as it is kept."""
    made = kept.made
    return {
        "number": kept.number,
        "at": kept.at.isoformat(),
        "by": made.by,
        "harness": made.harness,
        "reason": made.reason,
        "asked": dict(made.asked),
        "differences": [dict(each) for each in made.differences],
        "cells": [
            {"row": c.row, "side": c.side, "run": c.run, "group": c.group, "cell": c.cell}
            for c in made.cells
        ],
        "rows": [dict(each) for each in made.rows],
    }
