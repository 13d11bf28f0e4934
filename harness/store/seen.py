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
        command_s: Its command alone; None where it was ended.
    """

    cell: str
    group: tuple[int, int]
    seconds: float | None
    kept: bool
    figures: tuple[tuple[str, float], ...]
    command_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSeen:
    """How warm one part was around one earlier pass.

    Args:
        reading: The reading's name.
        waited_s: The wait before the pass.
        before_c: At its start; None: not measured.
        most_c: The most during the pass; None: not measured.
        least_c: The least during the pass; None: not measured.
    """

    reading: str
    waited_s: float
    before_c: float | None
    most_c: float | None
    least_c: float | None
