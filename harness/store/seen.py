"""One earlier pass, as far as later plans ask: how long it took, and what it gave.

Pure.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PassSeen:
    """One earlier pass.

    Args:
        cell: The cell's key.
        group: Passes of one cell with the same group were made under one fingerprint, and
            belong together; a cell that was opened again begins another.
        seconds: Wait before it and its command; None where the command was ended.
        kept: Whether comparisons count it: judged so, without a mark, and not taken out by
            a rule. No warm-up pass is.
        figures: (name, value) of what was measured.
    """

    cell: str
    group: tuple[int, int]
    seconds: float | None
    kept: bool
    figures: tuple[tuple[str, float], ...]
