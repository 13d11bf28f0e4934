"""Discard rules that together take passes from too many cells in which nothing is wrong.

Pure. Each rule takes a pass from as many sound cells as its level (alpha) says; several take from
up to as many as their levels add up to, and from fewer where they find the same pass: four at
1 % from 2 to 2.5 %. A sound pass that is taken out makes the interval of its cell too narrow:
with one rule at 5 %, 93.6 in 100 intervals of six passes hold the truth and not 95; up to 4 %
altogether, and 3 % where a pilot fixes the number of passes and the rules are asked twice, they
keep their promise within a point (scripts/promises).
"""

from __future__ import annotations

from harness.plan import fields as f
from harness.plan.history_fields import ENOUGH
from harness.plan.kinds import Desk, Values
from harness.plan.vocabulary import KnownRule

DEFAULT_ALPHA = 0.01

#: Levels that add up to more are a warning; and where a pilot is asked about, and all again.
MOST_ALPHA = 0.04
MOST_ALPHA_TWICE = 0.03


def levels_add_up(plan: Values, desk: Desk, *, keep: int | None) -> None:
    """Report rules that may discard, and whose levels add up to too much."""
    grows = ENOUGH.name in plan.nodes  # a cell may want more than keep
    most = MOST_ALPHA_TWICE if grows else MOST_ALPHA
    total, rules = 0.0, 0
    for rule in plan.of(f.DISCARD, ()):
        known = _by_level(rule, desk)
        if known is None or (not grows and (keep or 0) < _start(rule, known)):
            continue
        before, rules = total, rules + 1
        total += rule.of(f.ALPHA, DEFAULT_ALPHA)
        if before <= most + 1e-9 < total:
            which = "the discard rules up to this one take" if rules > 1 else "this rule takes"
            what = (
                f"{which} a pass from up to {100 * total:g} % of the cells in which nothing is "
                "wrong: their 95 % intervals hold the truth more than a point too seldom"
            )
            do = f"write levels (alpha) that add up to {100 * most:g} % or less, or fewer rules"
            place = rule.place(f.ALPHA if f.ALPHA.name in rule.nodes else f.RULE)
            desk.warn(place, "discards-too-many", what, do)


def _by_level(rule: Values, desk: Desk) -> KnownRule | None:
    """Return what is known of a rule that tests at a level; None: it does not, or is unknown."""
    name = rule.get(f.RULE)
    known = desk.vocabulary.rules.get(name) if name is not None else None
    return known if known is not None and f.ALPHA.name in known.takes else None


def _start(rule: Values, known: KnownRule) -> int:
    """Return from how many kept passes on *rule* may discard."""
    return max(rule.of(f.LEAST, 0), known.discards_from)
