"""The passes that came to nothing, by why: as lines below the results, and as JSON.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from harness.summary.lost import Lost

#: So many cells are named; of more only the number is told.
_NAMED = 3


def lost_json(found: Sequence[Lost]) -> dict[str, object]:
    """Return ``lost`` of ``results --json``."""
    return {"lost": [{**asdict(each), "verdict": each.verdict.value} for each in found]}


def lost_lines(found: Sequence[Lost], labels: Mapping[str, str]) -> list[str]:
    """Return the kinds of trouble as a person reads them; none where nothing was lost.

    Args:
        found: As ``lost`` gives them.
        labels: Cell key -> how the cell is shown.
    """
    if not found:
        return []
    lines = ["", "passes that came to nothing, by why:"]
    width = max(len(str(each.passes)) for each in found)
    for each in found:
        where = (
            "; ".join(labels.get(key, key) for key in each.cells)
            if len(each.cells) <= _NAMED
            else f"{len(each.cells)} cells"
        )
        why = f" ({each.why})" if each.why != each.verdict.value else ""
        lines.append(f"  {each.passes:>{width}} {each.verdict.value}{why}, of {where}")
        lines.append(f"  {'':>{width}} latest: {each.reason}")
        if each.do:
            lines.append(f"  {'':>{width}} {each.do}")
    return lines
