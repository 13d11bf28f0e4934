"""Whether passes that follow each other are alike, over all cells of a run together.

Pure. An interval takes passes for independent. Where each is like the one before it they are
worth fewer than their number, and the interval promises too much: with a correlation of 0.3
between neighbours one of 95 % holds the truth in 86 to 89 of 100 (scripts/promises).

Of each cell the squared steps from pass to pass are held against the squares about its mean:
where passes are independent and about normal the quotient is 2 in the mean, with the variance
4 (n - 2) / (n^2 - 1) (J. von Neumann, Annals of Mathematical Statistics 12 (1941) 367-395, from
memory; the tests simulate both). A single cell tells nothing; what is tested is their sum, on the
side of steps that are too small. A common trend makes small steps, too: then look at that first.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.rules.student import normal_tail

#: Level of the test. Common practice, no source.
ALPHA = 0.01

#: Fewer passes of a cell have no steps worth the name; fewer in all tell nothing.
LEAST = 4
LEAST_PASSES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Following:
    """How like the next pass of a cell is to the one before.

    Args:
        cells: Cells with four values or more.
        passes: Values in them.
        likeness: One less half the quotient, in the mean over cells by their weight: about the
            correlation between neighbours, and too small with few passes.
        z: The sum, standardised; above 0 where steps are too small.
        p: Its one-sided significance.
    """

    cells: int
    passes: int
    likeness: float
    z: float
    p: float

    @property
    def there(self) -> bool:
        """Return whether passes follow each other."""
        return self.p < ALPHA


def following(cells: Iterable[Sequence[float]]) -> Following | None:
    """Return how like neighbours are; None where there is too little to tell.

    Args:
        cells: The values of one figure of each cell, in the order measured.
    """
    used = [values for values in cells if len(values) >= LEAST and max(values) > min(values)]
    passes = sum(map(len, used))
    if passes < LEAST_PASSES:
        return None
    lack = math.fsum(2.0 - _quotient(values) for values in used)
    variance = math.fsum(4.0 * (len(v) - 2) / (len(v) ** 2 - 1) for v in used)
    z = lack / math.sqrt(variance)
    return Following(
        cells=len(used), passes=passes, likeness=0.5 * lack / len(used), z=z, p=normal_tail(z)
    )


def _quotient(values: Sequence[float]) -> float:
    mean = math.fsum(values) / len(values)
    steps = math.fsum((b - a) ** 2 for a, b in itertools.pairwise(values))
    return steps / math.fsum((each - mean) ** 2 for each in values)
