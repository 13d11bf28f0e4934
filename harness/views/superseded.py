"""What passes a rerun has superseded, who asked for it and why, as lines and as JSON.

Pure. Light: `harness status` shows it and must start quickly.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from typing import Any

#: How many of the latest are shown as lines.
SHOWN = 5


def superseded_lines(reopened: Sequence[Mapping[str, Any]], *, results: str) -> Iterator[str]:
    """Yield a line for each cell that was measured again, the latest first.

    Args:
        reopened: The records, as JSON has them, in order.
        results: The command that shows the rest.
    """
    for each in list(reversed(reopened))[:SHOWN]:
        attempts = ", ".join(map(str, each["superseded"]))
        had = f"attempts {attempts} superseded, and kept" if attempts else "no pass before"
        why = f": {each['reason']}" if each["reason"] else ""
        yield f"cell {each['cell']} measured again, asked by {each['by']}{why}; {had}"
    if len(reopened) > SHOWN:
        yield f"and {len(reopened) - SHOWN} reruns of a cell before: {results}"


def superseded_json(reopened: Sequence[Mapping[str, Any]]) -> list[dict[str, object]]:
    """Return the same as values for JSON, all of them, in order."""
    return [
        {
            "cell": each["cell"],
            "attempts": each["superseded"],
            "by": each["by"],
            "reason": each["reason"],
        }
        for each in reopened
    ]
