"""Discard rules given by themselves, as text: read and checked as a plan's are.

Pure.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from harness.errors import AskedError, Problem
from harness.plan.check import check
from harness.plan.document import DiscardRule, Plan
from harness.plan.parse import parse
from harness.plan.vocabulary import Vocabulary

_NONE = "none"


def rules_of(
    texts: Sequence[str], plan: Plan, *, vocabulary: Vocabulary
) -> tuple[DiscardRule, ...]:
    """Return the rules that *texts* give, for the titles and passes of *plan*.

    Raises:
        AskedError: a text is no rule, or a rule that this plan cannot have.
    """
    if [*texts] == [_NONE]:
        return ()
    rules = [_bare(text.strip()) for text in texts]
    found = check(parse(_around(rules, plan), "--rule"), vocabulary)
    if found.plan is None:
        raise AskedError([_of_option(each) for each in found.errors])
    return found.plan.discard


def _bare(text: str) -> str:
    return text[1:-1] if text.startswith("{") and text.endswith("}") else text


def _around(rules: Sequence[str], plan: Plan) -> str:
    """Return the least plan that has *rules*, and the figures and passes of *plan*."""
    figures = {spec.name for title in plan.titles for spec in title.figures}
    own = ", ".join(f"{json.dumps(name)}: {{from: wall_time, better: lower}}" for name in figures)
    return "\n".join(
        [
            "plan: rules",
            "settings: {s: {}}",
            "titles:",
            "  - title: T",
            "    scene: s",
            "    settings: [s]",
            "    command: [t]",
            "    time_limit: 1 min",
            "    frames: {file: f.csv, column: c, unit: ms}",
            *([f"    figures: {{{own}}}"] if own else []),
            f"passes: {{keep: {plan.passes.keep}, at_most: {plan.passes.at_most}}}",
            "limits: none",
            "discard:",
            *(f"  - {{{rule}}}" for rule in rules),
            "",
        ]
    )


def _of_option(problem: Problem) -> Problem:
    """Return *problem* without its line in a file that nobody wrote."""
    text = problem.place.text if problem.place is not None else None
    where = problem.where if text is None else (f"--rule {text.strip(' -')}", *problem.where)
    return Problem(code=problem.code, what=problem.what, where=where, do=problem.do)
