"""Numbers that no figure can be: beyond all measure, and so not measured.

Pure. Only what a title says of itself can give one: a counter that ran over, a pattern that
found an address, a division by nearly nothing. The bounds are our choice, no source. They leave
room for what machines do: an accelerator's 2e15 operations a second, the 2e15 instructions of an
hour on 64 cores. A counter of 64 bits that ran over tells 9.2e18 or 1.8e19, and lies outside; and
within them squares, ratios and their intervals can be worked out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from harness.rules.judgement import Figure

#: No figure is larger, whichever way it points.
MOST = 1e18

#: Nor nearer to 0 without being 0.
LEAST = 1e-18


def is_believable(value: float) -> bool:
    """Return whether a figure can have *value*.

    >>> is_believable(0.0), is_believable(-61.5), is_believable(1e300), is_believable(1e-300)
    (True, True, False, False)
    """
    return LEAST <= abs(value) <= MOST or value == 0.0


def why_unbelievable(value: float) -> str | None:
    """Return why no figure can have *value*; None where one can."""
    if is_believable(value):
        return None
    if not math.isfinite(value):
        return f"{value} is no number"
    return f"{value:.3g} is beyond all measure (a figure is 0, or between {LEAST:g} and {MOST:g})"


def believed(figures: Iterable[Figure]) -> tuple[Figure, ...]:
    """Return *figures*; one whose value cannot be is not measured, and says why.

    A store may hold one from before such values were refused where they are read.
    """
    return tuple(
        each
        if each.value is None or is_believable(each.value)
        else replace(each, value=None, why=why_unbelievable(each.value))
        for each in figures
    )
