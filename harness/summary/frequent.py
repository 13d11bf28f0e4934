"""Whether the discard rules took passes from more cells than they would where nothing is wrong.

Pure. A rule that tests at a level takes a pass from that share of sound cells, as long as their
noise is about normal. Where far more lose one, either something disturbs the rig, or the rules
take sound passes: the noise has a long tail, or the bound of a spread rule lies within it. Then
intervals over what is left promise too much (scripts/promises), and the figures with the discards
put back stand beside. How many cells lost a pass is held against the binomial distribution.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.plan.document import DiscardRule
from harness.rules.looks import RULES, alpha_of
from harness.rules.standing_out import at_least

#: Level of the test. Common practice, no source.
ALPHA = 0.01

#: What a spread rule takes out of sound cells, its bound being several times the noise.
BY_SPREAD = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Frequent:
    """How many cells lost a pass to a rule.

    Args:
        cells: Cells that rules could discard from.
        lost: Those that lost a pass or more.
        expected: How many would at most, on the average, where nothing is wrong.
        p: Chance of so many or more, then.
    """

    cells: int
    lost: int
    expected: float
    p: float

    @property
    def there(self) -> bool:
        """Return whether they are too many."""
        return self.p < ALPHA


def frequent(cells: Iterable[tuple[int, int]], *, rules: Sequence[DiscardRule]) -> Frequent | None:
    """Return how many cells lost a pass; None where no rule could discard from any.

    Args:
        cells: Of each cell the kept and the discarded passes.
        rules: The plan's; a rule that the table does not know is passed over.
    """
    shares, lost = [], 0
    for kept, discarded in cells:
        share = math.fsum(_share(rule, kept + discarded) for rule in rules)
        if share > 0.0:
            shares.append(min(1.0, share))
            lost += discarded > 0
    if not shares:
        return None
    expected = math.fsum(shares)
    share = expected / len(shares)
    p = 1.0 if share >= 1.0 else at_least(lost, of=len(shares), chance=share)
    return Frequent(cells=len(shares), lost=lost, expected=expected, p=p)


def _share(rule: DiscardRule, passes: int) -> float:
    """Return from how many sound cells of so many passes *rule* takes one, as a share."""
    known = RULES.get(rule.rule)
    if known is None or passes < known.kind.least(rule):
        return 0.0
    return alpha_of(rule) if "alpha" in known.kind.options else BY_SPREAD
