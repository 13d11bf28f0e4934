"""Where the steady part of a capture begins: the marginal standard error rule on batches of five.

Pure. MSER-5: of the means of every five frames in order, leave out the first d for which the
squared standard error of the mean of the rest is least. d is looked for up to half of the
batches, as near the end the rule always finds something; a least value at exactly half says that
no steady part was found. Source: K. P. White, An Effective Truncation Heuristic for Bias
Reduction in Simulation Output, Simulation 69 (1997) 323-334; K. P. White, M. J. Cobb, S. C.
Spratt, A Comparison of Five Steady-State Truncation Heuristics for Simulation, Proceedings of
the 2000 Winter Simulation Conference, 755-760.

The rule is for series that settle. A scene whose load changes by design has parts, too; so what
it finds is only told, where it matters to the average, and nothing is cut but by the plan.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

BATCH = 5

#: A shorter series is not looked at.
LEAST_BATCHES = 20


class Settled:
    """What the rule found.

    Args:
        first: Place of the first value of the steady part, from 0.
        found: False: the least value lies on the limit, and no steady part was found.
    """

    __slots__ = ("first", "found")

    def __init__(self, first: int, *, found: bool) -> None:
        self.first = first
        self.found = found


def settled_from(values: Sequence[float], *, batch: int = BATCH) -> Settled:
    """Return where the steady part of *values* begins.

    Values left over after the last whole batch are not looked at.

    Args:
        values: In order of time.
        batch: Values in one batch.

    Raises:
        ValueError: there are fewer than two whole batches.
    """
    count = len(values) // batch
    if count < 2:
        raise ValueError(f"the rule needs two batches of {batch}, not {len(values)} values")
    parts = [values[at : count * batch : batch] for at in range(batch)]
    means = [sum(each) / batch for each in zip(*parts, strict=True)]
    shift = sum(means) / count  # so that no digits are lost in the squares
    total, squares = 0.0, 0.0
    best, place = float("inf"), 0
    limit = count // 2
    # From the end, the rest grows by one batch at a time.
    for d in range(count - 1, -1, -1):
        away = means[d] - shift
        total += away
        squares += away * away
        if d > limit:
            continue
        left = count - d
        statistic = (squares - total * total / left) / (left * left)
        if statistic <= best:  # of equal ones the first: less is cut
            best, place = statistic, d
    return Settled(place * batch, found=place < limit)
