"""Which kept pass a discard rule of the plan takes out, and which it only marks.

Pure. A discard needs more than an outlier:

- enough passes: a spread rule may discard from 3 on, a statistical rule from 6 on (below
  that its test has no power worth the name, and with three passes two equal ones condemn
  the third); the plan's ``least`` may ask for more;
- one pass that stands out: where several are equally far out none is singled out;
- a discard left: ``at_most`` of one rule counts over a whole cell and group, whatever the
  figure.

Otherwise the passes are marked. The rules are asked in plan order, and one call discards at
most one pass: the first that may be; a discard changes what is kept, so that marks found
beside it would be of passes that no longer stand together. The rules are asked again after
each replacement. A pass without the figure a rule looks at is not seen by that rule.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from harness.plan.document import DiscardRule
from harness.rules.judgement import Finding, KeptPass
from harness.rules.kinds import GRUBBS, SPREAD, RuleKind
from harness.rules.outliers import Outlying, from_others, grubbs, spread

#: What a rule takes where the plan does not say. Common practice, no source.
MORE_THAN = 0.03
ALPHA = 0.05
FLOOR = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A discard rule of the table, and how it works.

    Args:
        kind: Its line of the table.
        look: The rule itself.
        describe: What it found, in words; given the values, the find and the plan's rule.
    """

    kind: RuleKind
    look: Callable[[Sequence[float], DiscardRule], Outlying | None]
    describe: Callable[[Sequence[float], Outlying, int, DiscardRule], str]


def find(
    passes: Sequence[KeptPass], rules: Sequence[DiscardRule], *, discarded: Mapping[str, int]
) -> tuple[Finding, ...]:
    """Return one pass to be discarded, or every pass to be marked, or nothing.

    Args:
        passes: The kept passes of one cell and group, in the order of their attempts.
        rules: The plan's, in plan order.
        discarded: How many passes of this cell and group each rule has discarded, by the
            name and version that a finding carries.

    Raises:
        KeyError: a rule that the table does not know; a checked plan has none.
    """
    marks: list[Finding] = []
    for rule in rules:
        findings = _ask(passes, rule, RULES[rule.rule], discarded)
        if any(finding.discard for finding in findings):
            return findings
        marks.extend(findings)
    return tuple(marks)


def _ask(
    passes: Sequence[KeptPass], rule: DiscardRule, known: Rule, discarded: Mapping[str, int]
) -> tuple[Finding, ...]:
    kind = known.kind
    seen = [(p.attempt, dict(p.figures)[rule.on]) for p in passes if rule.on in dict(p.figures)]
    if len(seen) < kind.marks_from:
        return ()
    values = [value for _, value in seen]
    outlying = known.look(values, rule)
    if outlying is None:
        return ()
    objection = _objection(outlying, rule, kind, passes=len(seen), discarded=discarded)
    return tuple(
        Finding(
            attempt=seen[place][0],
            rule=kind.label,
            on=rule.on,
            statistic=outlying.statistic,
            critical=outlying.critical,
            passes=len(seen),
            discard=objection is None,
            reason=known.describe(values, outlying, place, rule)
            + (f"; only marked: {objection}" if objection is not None else ""),
        )
        for place in outlying.places
    )


def _objection(
    outlying: Outlying,
    rule: DiscardRule,
    kind: RuleKind,
    *,
    passes: int,
    discarded: Mapping[str, int],
) -> str | None:
    """Return why nothing may be discarded, or None. Every such reason stands here."""
    if passes < kind.least(rule):
        return f"{rule.rule} discards from {kind.least(rule)} passes on, {passes} are kept"
    if len(outlying.places) > 1:
        return f"{len(outlying.places)} passes are equally far out"
    made = discarded.get(kind.label, 0)
    if made >= rule.at_most:
        return f"{rule.rule} has discarded {made} here already, at most {rule.at_most}"
    return None


def _look_spread(values: Sequence[float], rule: DiscardRule) -> Outlying | None:
    return spread(values, more_than=rule.more_than if rule.more_than is not None else MORE_THAN)


def _describe_spread(
    values: Sequence[float], outlying: Outlying, place: int, rule: DiscardRule
) -> str:
    found, allowed = _apart(100.0 * outlying.statistic, 100.0 * outlying.critical)
    share = from_others(values, place)
    return (
        f"{rule.on} is {found} % {_side(share)} the median of the other {len(values) - 1} "
        f"passes, more than {allowed} %"
    )


def _look_grubbs(values: Sequence[float], rule: DiscardRule) -> Outlying | None:
    return grubbs(
        values,
        alpha=rule.alpha if rule.alpha is not None else ALPHA,
        floor=rule.floor if rule.floor is not None else FLOOR,
    )


def _describe_grubbs(
    values: Sequence[float], outlying: Outlying, place: int, rule: DiscardRule
) -> str:
    found, allowed = _apart(outlying.statistic, outlying.critical)
    alpha = rule.alpha if rule.alpha is not None else ALPHA
    share = from_others(values, place)
    beside = "" if share is None else f", {100.0 * abs(share):.3g} % {_side(share)} the others"
    return (
        f"{rule.on} is {found} standard deviations from the mean of {len(values)} "
        f"passes{beside}; more than {allowed} (two-sided, alpha {100.0 * alpha:g} %)"
    )


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
            Rule(kind=SPREAD, look=_look_spread, describe=_describe_spread),
            Rule(kind=GRUBBS, look=_look_grubbs, describe=_describe_grubbs),
        )
    }
)
