"""One promise held against what was measured, with the error of the measurement."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

#: A promise is broken where the measured share is outside by more than so many standard errors.
SLACK = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the table.

    Args:
        name: What was simulated.
        measured: What came out.
        error: Standard error of that, by the number of samples.
        least: Promised at least; None: nothing is.
        most: Promised at most; None: nothing is.
        unit: Of all four.
        note: What the reader must know beside it, above all where a method fails.
    """

    name: str
    measured: float
    error: float
    least: float | None = None
    most: float | None = None
    unit: str = "%"
    note: str = ""

    @property
    def kept(self) -> bool | None:
        """Return whether the promise was kept; None: nothing is promised."""
        if self.least is None and self.most is None:
            return None
        slack = SLACK * self.error
        low = -math.inf if self.least is None else self.least
        high = math.inf if self.most is None else self.most
        return low - slack <= self.measured <= high + slack


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """Where numbers by chance come from, and how many are wanted.

    Args:
        rng: The generator, seeded.
        share: Of the samples that a full run takes.
    """

    rng: np.random.Generator
    share: float = 1.0

    def samples(self, full: int, *, least: int = 200) -> int:
        """Return how many samples to take where a full run takes *full*."""
        return max(least, round(full * self.share))


#: A section: the lines of one kind of promise.
Section = Callable[[Chance], Iterable[Line]]


def share_line(
    name: str,
    hits: int,
    samples: int,
    *,
    least: float | None = None,
    most: float | None = None,
    note: str = "",
) -> Line:
    """Return a line on a share of samples, all in per cent."""
    part = hits / samples
    # Never 0, not even where all or none were hits: then as if one had not been.
    spread = max(part * (1.0 - part), (1.0 - 1.0 / samples) / samples)
    error = 100.0 * math.sqrt(spread / samples)
    return Line(name=name, measured=100.0 * part, error=error, least=least, most=most, note=note)
