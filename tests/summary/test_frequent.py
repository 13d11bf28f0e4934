"""Cells that lost a pass to a rule, against how many would where nothing is wrong."""

from __future__ import annotations

import pytest
from scipy import stats

from harness.plan.document import DiscardRule
from harness.summary.frequent import frequent

GRUBBS = DiscardRule(rule="grubbs", on="average_fps", alpha=0.02)
SPREAD = DiscardRule(rule="spread", on="average_fps", more_than=0.03)


def cells(lost: int, *, of: int, passes: int = 6) -> list[tuple[int, int]]:
    return [(passes, 1)] * lost + [(passes, 0)] * (of - lost)


@pytest.mark.parametrize(("lost", "there"), [(0, False), (2, False), (4, False), (5, True)])
def test_so_many_or_more_have_the_chance_that_the_binomial_distribution_gives(
    lost: int, there: bool
) -> None:
    found = frequent(cells(lost, of=60), rules=[GRUBBS])
    assert found is not None
    assert found.p == pytest.approx(stats.binom.sf(lost - 1, 60, 0.02), abs=1e-12)
    assert found.expected == pytest.approx(1.2)
    assert found.there is there


def test_rules_add_up_and_a_spread_rule_is_one_of_them() -> None:
    found = frequent(cells(1, of=40), rules=[GRUBBS, SPREAD])
    assert found is not None
    assert found.expected == pytest.approx(40 * 0.025)


def test_cells_from_which_no_rule_could_discard_are_not_counted() -> None:
    assert frequent(cells(0, of=40, passes=5), rules=[GRUBBS]) is None
    assert frequent(cells(0, of=40, passes=2), rules=[SPREAD]) is None
    assert frequent(cells(0, of=40), rules=[]) is None
