"""What a plan's discard rules say against its passes, with the rules that there really are."""

from __future__ import annotations

import pytest

from harness.errors import Problem
from harness.plan.check import check
from harness.plan.document import DiscardRule, Side
from harness.plan.rule_levels import DEFAULT_ALPHA
from harness.rules.looks import ALPHA
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


def test_levels_that_add_up_to_more_than_four_per_cent_are_a_warning() -> None:
    (found,) = problems(KEEP_SIX, rule="{rule: grubbs, alpha: 5 %}")
    assert (found.code, found.severity) == ("discards-too-many", "warning")
    assert found.what.startswith("this rule takes a pass from up to 5 % of the cells")
    assert found.place is not None
    assert (found.place.text or "").endswith("alpha: 5 %}")


def test_several_rules_take_from_as_many_cells_as_their_levels_add_up_to() -> None:
    four = "{rule: grubbs}\n  - {rule: dixon}\n  - {rule: tukey}\n  - {rule: modified-z}"
    assert problems(KEEP_SIX, rule=four) == []
    (found,) = problems(KEEP_SIX, rule=f"{four}\n  - {{rule: esd}}")
    assert found.code == "discards-too-many"
    assert "up to 5 % of the cells" in found.what


def test_a_pilot_and_all_passes_are_asked_about_so_that_less_is_allowed() -> None:
    four = "{rule: grubbs}\n  - {rule: dixon}\n  - {rule: tukey}\n  - {rule: modified-z}"
    (found,) = problems(KEEP_SIX, rule=f"{four}\nenough: {{half_width: 1 %}}")
    assert (found.code, found.do.split(",")[0]) == (
        "discards-too-many",
        "write levels (alpha) that add up to 3 % or less",
    )


def test_a_rule_that_only_marks_takes_nothing_and_is_not_counted() -> None:
    found = problems(("keep: 3", "keep: 5"), rule="{rule: grubbs, alpha: 5 %}")
    assert [each.code for each in found] == ["rule-only-marks"]


def test_where_no_level_is_written_the_warning_counts_the_one_that_rules_take() -> None:
    assert DEFAULT_ALPHA == ALPHA
