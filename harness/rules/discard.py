"""Which kept pass a discard rule of the plan takes out, and which it only marks.

Pure. A discard needs more than an outlier:

- enough passes: a spread rule may discard from 3 on, a statistical rule from 6 on (below
  that its test has no power worth the name, and with three passes two equal ones condemn
  the third); the plan's ``least`` may ask for more;
- one pass that stands out: where several are equally far out none is singled out;
- one level: where the passes lie on two, neither is cleaned away, and the cell stays
  unresolved;
- a discard left: ``at_most`` of one rule counts over a whole cell and group, whatever the
  figure; where a rule finds more than it may still discard, it discards none of them.

Otherwise the passes are marked. The rules are asked in plan order, and one call discards by
one rule at most, the first that may: one pass, or with ``esd`` several that stand out
together. A discard changes what is kept, so that marks found beside it would be of passes
that no longer stand together. The rules are asked again after each replacement. A pass
without the figure a rule looks at is not seen by that rule.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.plan.document import DiscardRule
from harness.rules.judgement import Finding, KeptPass
from harness.rules.kinds import RuleKind
from harness.rules.levels import two_levels
from harness.rules.looks import RULES, Rule, floor_of
from harness.rules.outliers import Outlying

#: Level of the test for two levels that stands against a discard.
TWO_LEVELS_ALPHA = 0.05


def find(
    passes: Sequence[KeptPass], rules: Sequence[DiscardRule], *, discarded: Mapping[str, int]
) -> tuple[Finding, ...]:
    """Return what one rule discards, or every pass to be marked, or nothing.

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
    found = known.look(values, rule)
    if not found:
        return ()
    objection = _objection(values, found, rule, kind, made=discarded.get(kind.label, 0))
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
        for outlying in found
        for place in outlying.places
    )


def _objection(
    values: Sequence[float],
    found: Sequence[Outlying],
    rule: DiscardRule,
    kind: RuleKind,
    *,
    made: int,
) -> str | None:
    """Return why nothing may be discarded, or None. Every such reason stands here."""
    passes = len(values)
    if passes < kind.least(rule):
        return f"{rule.rule} discards from {kind.least(rule)} passes on, {passes} are kept"
    tied = max(len(outlying.places) for outlying in found)
    if tied > 1:
        return f"{tied} passes are equally far out"
    levels = two_levels(values, alpha=TWO_LEVELS_ALPHA, floor=floor_of(rule))
    if levels is not None:
        low, high = levels.at
        return (
            f"the passes lie on two levels, {len(levels.low)} near {low:.4g} and "
            f"{len(levels.high)} near {high:.4g}"
        )
    if made >= rule.at_most:
        return f"{rule.rule} has discarded {made} here already, at most {rule.at_most}"
    if made + len(found) > rule.at_most:
        return (
            f"{rule.rule} finds {len(found)} here and has discarded {made}, at most {rule.at_most}"
        )
    return None
