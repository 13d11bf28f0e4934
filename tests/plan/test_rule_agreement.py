"""What a plan's discard rules say against its passes, with the rules that there really are."""

from __future__ import annotations

import pytest

from harness.errors import Problem
from harness.plan.check import check
from harness.plan.document import DiscardRule, Side
from harness.wiring import vocabulary
from tests.plan.words import changed, source_of

KEEP_SIX = ("keep: 3, at_most: 6", "keep: 6, at_most: 8")


def problems(*changes: tuple[str, str], rule: str) -> list[Problem]:
    text = changed(*changes, add=f"discard:\n  - {rule}\n")
    return list(check(source_of(text.encode()), vocabulary()).problems)


@pytest.mark.parametrize("rule", ["spread", "grubbs", "esd", "dixon", "modified-z", "tukey"])
def test_every_rule_fits_a_plan_of_six_passes(rule: str) -> None:
    assert problems(KEEP_SIX, rule=f"{{rule: {rule}}}") == []


@pytest.mark.parametrize("rule", ["grubbs", "dixon"])
def test_a_side_is_read(rule: str) -> None:
    text = changed(KEEP_SIX, add=f"discard: [{{rule: {rule}, side: low}}]\n")
    plan = check(source_of(text.encode()), vocabulary()).accepted()
    assert plan.discard == (DiscardRule(rule=rule, on="average_fps", side=Side.LOW),)


def test_a_rule_without_sides_refuses_one() -> None:
    (found,) = problems(KEEP_SIX, rule="{rule: tukey, side: low}")
    assert (found.code, found.what) == ("unused-key", "the rule tukey does not know side")


def test_a_rule_that_finds_nothing_in_so_few_passes_is_a_warning() -> None:
    (found,) = problems(rule="{rule: tukey}")
    assert found.code == "rule-cannot-fire"
    assert found.what == "tukey needs at least 5 passes, and keep is 3: it finds nothing"


def test_a_statistical_rule_below_six_passes_only_marks() -> None:
    (found,) = problems(("keep: 3", "keep: 5"), rule="{rule: dixon}")
    assert found.code == "rule-only-marks"


@pytest.mark.parametrize("rule", ["modified-z", "tukey"])
def test_a_level_without_critical_values_is_refused(rule: str) -> None:
    (found,) = problems(KEEP_SIX, rule=f"{{rule: {rule}, alpha: 2 %}}")
    assert (found.code, found.do) == ("unknown-alpha", "write one of 10 %, 5 %, 1 %")
    assert problems(KEEP_SIX, rule=f"{{rule: {rule}, alpha: 1 %}}") == []


def test_a_discard_that_nothing_replaces_is_a_warning() -> None:
    (found,) = problems(("keep: 3, at_most: 6", "keep: 6, at_most: 6"), rule="{rule: grubbs}")
    assert (found.code, found.do) == ("discard-not-replaced", "write passes.at_most: 7 or more")
