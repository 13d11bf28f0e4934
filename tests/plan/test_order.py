"""Blocks of one hardware state, visits that repeat them, and rounds that can be repeated."""

from __future__ import annotations

import dataclasses
from collections import Counter
from itertools import groupby, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan import document as d
from harness.plan.cells import cells
from harness.plan.order import block_conditions, blocks, round_order
from harness.plan.outlook import outlook
from tests.plan.test_build import EXAMPLE
from tests.plan.words import checked
from tests.plan_text import written
from tests.strategies import few, plans

PLAN = checked(EXAMPLE).accepted()


def test_visits_go_through_the_levels_again_and_again() -> None:
    made = blocks(PLAN)

    assert [(block.visit, block.levels) for block in made] == [
        (1, (("slot", "alone"),)),
        (1, (("slot", "shared"),)),
        (2, (("slot", "alone"),)),
        (2, (("slot", "shared"),)),
    ]


@few
@given(plans())
def test_every_visit_holds_every_cell_once(plan: d.Plan) -> None:
    grid = sorted(cell.key for cell in cells(plan))

    for visit in range(1, plan.order.visits + 1):
        keys = [key for block in blocks(plan) if block.visit == visit for key in block.cells]
        assert sorted(keys) == grid


def _by_hand(
    name: str, levels: str, *, opens_case: bool = False, reboot: bool = False
) -> d.Condition:
    return d.Condition(
        name=name,
        by=d.By.OPERATOR,
        levels=tuple(d.Level(name=level, say="Do it.") for level in levels),
        opens_case=opens_case,
        reboot=reboot,
    )


def test_what_opens_the_case_changes_slowest_then_what_needs_a_reboot() -> None:
    plan = dataclasses.replace(
        PLAN,
        conditions=(
            _by_hand("cable", "ab"),
            _by_hand("memory", "cd", reboot=True),
            _by_hand("slot", "ef", opens_case=True),
        ),
        order=d.Order(),
    )
    made = blocks(plan)
    changes = Counter(
        name
        for one, other in pairwise(made)
        for (name, before), (_, after) in zip(one.levels, other.levels, strict=True)
        if before != after
    )

    assert [condition.name for condition in block_conditions(plan)] == ["slot", "memory", "cable"]
    assert changes == {"slot": 1, "memory": 3, "cable": 7}


def test_a_plan_without_hardware_is_one_block_a_visit() -> None:
    plan = dataclasses.replace(PLAN, conditions=(), order=d.Order(visits=2))

    assert [(block.visit, block.levels) for block in blocks(plan)] == [(1, ()), (2, ())]


@given(st.sampled_from(d.OrderBy), st.integers(0, 99), st.integers(1, 9), st.integers(1, 9))
def test_a_round_holds_each_of_its_cells_once(
    by: d.OrderBy, seed: int, visit: int, number: int
) -> None:
    grid = cells(PLAN)

    for order in [round_order(grid, by=by, seed=seed, visit=visit, round_no=number)]:
        assert sorted(cell.key for cell in order) == sorted(cell.key for cell in grid)
        assert order == round_order(grid, by=by, seed=seed, visit=visit, round_no=number)


def test_fewest_changes_keeps_the_cells_of_one_level_together() -> None:
    order = round_order(cells(PLAN), by=d.OrderBy.FEWEST_CHANGES, seed=11, visit=1, round_no=1)

    assert len(list(groupby(cell.levels for cell in order))) == 4


def test_rounds_differ_in_their_order() -> None:
    orders = {
        round_order(cells(PLAN), by=d.OrderBy.SHUFFLED, seed=1, visit=1, round_no=number)
        for number in range(1, 9)
    }

    assert len(orders) == 8


def test_the_order_of_a_seed_stays_what_it_is() -> None:
    # A run that is resumed by a later version goes on in the order it began in.
    order = round_order(cells(PLAN), by=d.OrderBy.SHUFFLED, seed=11, visit=1, round_no=1)

    assert [cell.key for cell in order[:3]] == ["cb04aef474d8", "117adc3223ad", "5f6a2eec7c1d"]


@pytest.mark.parametrize("by", d.OrderBy)
def test_an_empty_round_is_empty(by: d.OrderBy) -> None:
    assert round_order((), by=by, seed=1, visit=1, round_no=1) == ()


@few
@given(plans())
def test_the_outlook_agrees_with_the_grid_and_the_blocks(plan: d.Plan) -> None:
    values = checked(written(plan)).values
    assert values is not None
    size = outlook(values)
    within = dataclasses.replace(plan.order, rounds_within=None)  # of the person's alone
    stays = [block.levels for block in blocks(dataclasses.replace(plan, order=within))]
    mine = [condition for condition in plan.conditions if condition.by is d.By.OPERATOR]

    assert size.cells == len(cells(plan))
    assert size.counted == size.cells * plan.passes.keep
    assert len(size.steps) == (len(list(groupby(stays))) if mine else 0)
