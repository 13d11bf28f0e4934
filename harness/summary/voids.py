"""Whether one level loses more passes than the others: void passes, level by level.

Pure. A heat guard that voids the hot passes of one level leaves its cool ones, and makes that
level look better than it is; so an imbalance of voids is an effect, and shown. Each level is held
against all others of its condition by Fisher's exact test (R. A. Fisher, The Design of
Experiments, Oliver & Boyd 1935, II), two-sided: the chance of a table no likelier than the one
seen, its margins given. With more than two levels the significance wanted is shared out over
them (Bonferroni).

The test takes passes for independent. Passes of one cell that are void for one reason are not:
then it says *imbalance* too soon, which is the side to err on here. Where so few passes are void
that no table could be significant, that is said, and not that all is well.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping
from dataclasses import dataclass

#: Wanted significance over the levels of one condition. Common practice, no source.
ALPHA = 0.05


class Balance(enum.Enum):
    """What can be said of the voids of one level."""

    EVEN = "even"  #: no imbalance seen
    MORE = "more"  #: more voids than at the other levels
    FEWER = "fewer"
    TOO_FEW = "too few to tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelVoids:
    """The void passes of one level against those of the other levels of its condition.

    Args:
        condition: The condition's name.
        level: The level's.
        void: Void passes at the level.
        judged: Kept, discarded and void passes at the level.
        others_void: Void passes at the other levels.
        others_judged: Kept, discarded and void passes at those.
        p: Significance of Fisher's exact test, two-sided.
        balance: What that says.
    """

    condition: str
    level: str
    void: int
    judged: int
    others_void: int
    others_judged: int
    p: float
    balance: Balance


def void_balance(condition: str, levels: Mapping[str, tuple[int, int]]) -> tuple[LevelVoids, ...]:
    """Return how the voids of a condition are shared out over its levels.

    Args:
        condition: Its name.
        levels: Level -> void passes, judged passes (void ones among them). Levels where
            nothing was judged are left out; with fewer than two others nothing is returned.
    """
    there = {level: counts for level, counts in levels.items() if counts[1]}
    if len(there) < 2:
        return ()
    alpha = ALPHA / (len(there) if len(there) > 2 else 1)
    all_void = sum(void for void, _ in there.values())
    all_judged = sum(judged for _, judged in there.values())
    made = []
    for level, (void, judged) in there.items():
        others = all_judged - judged
        p, least = fisher_exact(void, judged, all_void - void, others)
        if p < alpha:
            share = void / judged - (all_void - void) / others
            balance = Balance.MORE if share > 0 else Balance.FEWER
        else:
            balance = Balance.EVEN if least < alpha or not all_void else Balance.TOO_FEW
        made.append(
            LevelVoids(
                condition=condition,
                level=level,
                void=void,
                judged=judged,
                others_void=all_void - void,
                others_judged=others,
                p=p,
                balance=balance,
            )
        )
    return tuple(made)


def fisher_exact(first: int, of_first: int, second: int, of_second: int) -> tuple[float, float]:
    """Return the two-sided significance of *first* of so many against *second* of so many.

    And the least significance that any table with these margins could have.

    >>> fisher_exact(3, 4, 1, 4)[0]
    0.4857142857142857
    """
    drawn, whole = first + second, of_first + of_second
    ways = math.comb(whole, drawn)
    counts = {
        hits: math.comb(of_first, hits) * math.comb(of_second, drawn - hits)
        for hits in range(max(0, drawn - of_second), min(of_first, drawn) + 1)
    }
    here = counts[first]
    # Whole numbers: no tolerance is needed to tell what is as likely.
    p = sum(count for count in counts.values() if count <= here)
    rarest = min(counts.values())
    least = sum(count for count in counts.values() if count <= rarest)
    return p / ways, least / ways
