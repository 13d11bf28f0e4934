"""How each discard rule of the table looks at the passes of a cell, and says what it found.

Pure. Names, versions and options are ``harness.rules.kinds``, arithmetic is ``outliers``,
``dixon`` and ``resistant``; what is done about a find is ``harness.rules.discard``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from harness.plan.document import DiscardRule, Side
from harness.rules import kinds
from harness.rules.dixon import dixon
from harness.rules.kinds import RuleKind
from harness.rules.outliers import Outlying, esd, from_others, grubbs, spread
from harness.rules.resistant import modified_z, tukey

#: What a rule takes where the plan does not say. Common practice, no source; but alpha: at 5 %
#: discards of sound passes cost an interval of six passes 1.5 points of its 95 %, at 1 % less
#: than half a point (scripts/promises).
MORE_THAN = 0.03
ALPHA = 0.01
FLOOR = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A discard rule of the table, and how it works.

    Args:
        kind: Its line of the table.
        look: The rule itself: what stands out, together if there are several.
        describe: What it found, in words; given the values, the find, a place in it and the
            plan's rule.
    """

    kind: RuleKind
    look: Callable[[Sequence[float], DiscardRule], tuple[Outlying, ...]]
    describe: Callable[[Sequence[float], Outlying, int, DiscardRule], str]


def alpha_of(rule: DiscardRule) -> float:
    """Return the level that *rule* tests at."""
    return rule.alpha if rule.alpha is not None else ALPHA


def floor_of(rule: DiscardRule) -> float:
    """Return the share below which *rule* calls no difference an outlier."""
    return rule.floor if rule.floor is not None else FLOOR


def _alone(found: Outlying | None) -> tuple[Outlying, ...]:
    return () if found is None else (found,)


def _look_spread(values: Sequence[float], rule: DiscardRule) -> tuple[Outlying, ...]:
    more_than = rule.more_than if rule.more_than is not None else MORE_THAN
    return _alone(spread(values, more_than=more_than))


def _look_grubbs(values: Sequence[float], rule: DiscardRule) -> tuple[Outlying, ...]:
    return _alone(
        grubbs(values, alpha=alpha_of(rule), floor=floor_of(rule), side=rule.side),
    )


def _look_esd(values: Sequence[float], rule: DiscardRule) -> tuple[Outlying, ...]:
    # The source holds its level from about 25 values on; with alpha shared out over the tests
    # it is held from six on (scripts/promises).
    alpha = alpha_of(rule) / rule.at_most
    return esd(values, alpha=alpha, most=rule.at_most, floor=floor_of(rule))


def _look_dixon(values: Sequence[float], rule: DiscardRule) -> tuple[Outlying, ...]:
    return _alone(dixon(values, alpha=alpha_of(rule), floor=floor_of(rule), side=rule.side))


def _look_modified_z(values: Sequence[float], rule: DiscardRule) -> tuple[Outlying, ...]:
    return _alone(modified_z(values, alpha=alpha_of(rule), floor=floor_of(rule)))


def _look_tukey(values: Sequence[float], rule: DiscardRule) -> tuple[Outlying, ...]:
    return _alone(tukey(values, alpha=alpha_of(rule), floor=floor_of(rule)))


def _describe_spread(
    values: Sequence[float], outlying: Outlying, place: int, rule: DiscardRule
) -> str:
    found, allowed = _apart(100.0 * outlying.statistic, 100.0 * outlying.critical)
    share = from_others(values, place)
    return (
        f"{rule.on} is {found} % {_side(share)} the median of the other {len(values) - 1} "
        f"passes, more than {allowed} %"
    )


def _describe_test(what: str) -> Callable[[Sequence[float], Outlying, int, DiscardRule], str]:
    """Return what words a test, of which *what* says what its statistic counts."""

    def describe(values: Sequence[float], outlying: Outlying, place: int, rule: DiscardRule) -> str:
        found, allowed = _apart(outlying.statistic, outlying.critical)
        share = from_others(values, place)
        beside = "" if share is None else f", {100.0 * abs(share):.3g} % {_side(share)} the others"
        sides = "two-sided" if rule.side is Side.BOTH else f"one-sided, {rule.side.value}"
        shared = ""
        if rule.rule == kinds.ESD.name and rule.at_most > 1:
            shared = f" over {rule.at_most} tests"
        return (
            f"{rule.on} is {found} {what.format(n=len(values))}{beside}; more than {allowed} "
            f"({sides}, alpha {100.0 * alpha_of(rule):g} %{shared})"
        )

    return describe


def _side(share: float | None) -> str:
    return "below" if share is not None and share < 0.0 else "above"


def _apart(found: float, allowed: float) -> tuple[str, str]:
    """Return both numbers with as few digits as still show that they differ."""
    for digits in range(3, 17):
        texts = f"{found:.{digits}g}", f"{allowed:.{digits}g}"
        if texts[0] != texts[1]:
            return texts
    return repr(found), repr(allowed)


#: Every discard rule, by the name a plan gives it.
RULES: Mapping[str, Rule] = MappingProxyType(
    {
        rule.kind.name: rule
        for rule in (
            Rule(kind=kinds.SPREAD, look=_look_spread, describe=_describe_spread),
            Rule(
                kind=kinds.GRUBBS,
                look=_look_grubbs,
                describe=_describe_test("standard deviations from the mean of {n} passes"),
            ),
            Rule(
                kind=kinds.ESD,
                look=_look_esd,
                describe=_describe_test(
                    "standard deviations from the mean of {n} passes less those further out"
                ),
            ),
            Rule(
                kind=kinds.DIXON,
                look=_look_dixon,
                describe=_describe_test("of the range of {n} passes away from its neighbour"),
            ),
            Rule(
                kind=kinds.MODIFIED_Z,
                look=_look_modified_z,
                describe=_describe_test("by the modified z score of {n} passes"),
            ),
            Rule(
                kind=kinds.TUKEY,
                look=_look_tukey,
                describe=_describe_test("quartile distances beyond a quartile of {n} passes"),
            ),
        )
    }
)
