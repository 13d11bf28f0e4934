"""A frozen plan thaws to itself, and a procedure's hash moves with what moves its number."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable

import pytest
from hypothesis import given

from harness.errors import StoreError
from harness.plan import document as d
from harness.plan.canonical import freeze, plan_hash, procedure_hash, thaw
from harness.plan.cells import Cell, cells
from harness.plan.differences import differences
from tests.plan.test_build import EXAMPLE
from tests.plan.words import checked
from tests.strategies import few, plans

PLAN = checked(EXAMPLE).accepted()


@few
@given(plans())
def test_a_frozen_plan_thaws_to_itself(plan: d.Plan) -> None:
    text = freeze(plan)

    assert thaw(text) == plan
    assert freeze(thaw(text)) == text


@few
@given(plans(), plans())
def test_plans_differ_exactly_where_their_hashes_do(one: d.Plan, other: d.Plan) -> None:
    assert (differences(one, other) == ()) == (plan_hash(one) == plan_hash(other))
    assert differences(one, thaw(freeze(one))) == ()


def test_a_frozen_plan_is_json_with_every_field() -> None:
    data = json.loads(freeze(PLAN))

    assert data["passes"] == {
        "at_most": 8,
        "keep": 6,
        "look_first": True,
        "warm_up": {
            "at_most": 5,
            "passes": 1,
            "when": ["launch", "visit", "build-changed"],
            "within": None,
        },
    }
    assert set(data) == {field.name for field in dataclasses.fields(d.Plan)}


def test_a_text_that_holds_other_kinds_is_refused() -> None:
    text = freeze(PLAN)

    for wrong in (
        "",
        "[]",
        "null",
        text[:-1],
        text.replace('"keep":6', '"keep":"6"'),
        text.replace('"keep":6', '"keep":true'),
        text.replace('"keep":6', '"later":6'),
        text.replace('"fewest-changes"', '"somehow"'),
    ):
        with pytest.raises(StoreError):
            thaw(wrong)


def test_a_field_of_a_later_version_takes_its_default() -> None:
    data = json.loads(freeze(PLAN))
    del data["night"], data["passes"]["look_first"]

    assert thaw(json.dumps(data)) == dataclasses.replace(
        PLAN, passes=dataclasses.replace(PLAN.passes, look_first=False)
    )


def test_comments_and_the_order_of_keys_ask_for_nothing() -> None:
    lines = EXAMPLE.splitlines()
    fhd = lines.index("  fhd: {size: 1920x1080, preset: high}")
    lines[fhd], lines[fhd + 1] = lines[fhd + 1], "  fhd: {preset: high, size: 1920x1080} # small"
    other = checked("\n".join([*lines[-2:], *lines[:-2]])).accepted()

    assert plan_hash(other) == plan_hash(PLAN)
    assert differences(PLAN, other) == ()


def test_the_order_of_titles_is_a_difference() -> None:
    other = dataclasses.replace(PLAN, titles=PLAN.titles[::-1])

    assert differences(PLAN, other) == ("titles stand in another order",)
    assert plan_hash(other) != plan_hash(PLAN)


def test_differences_are_told_in_words() -> None:
    titles = (dataclasses.replace(PLAN.titles[0], cut=d.Cut(from_s=5.0, length_s=90.0)),)
    slot, power = PLAN.conditions
    other = dataclasses.replace(
        PLAN,
        titles=titles,
        limits=None,
        conditions=(slot, dataclasses.replace(power, levels=power.levels[:1])),
        gates=PLAN.gates[:1],
        settings=(d.Setting(name="fhd", values=(("size", "1x1"), ("preset", "high"))),),
        order=dataclasses.replace(PLAN.order, by=d.OrderBy.PLAN),
    )

    assert differences(PLAN, other) == (
        "titles.Lantern Quay, harbour loop.cut.length_s was 60 and is 90",
        "titles.Lantern Quay, harbour loop.cut.tolerance was 0.02 and is 0",
        "titles: Basalt Run, export is gone",
        "settings.fhd.values.size was '1920x1080' and is '1x1'",
        "settings: uhd is gone",
        "conditions.power.levels: quiet is gone",
        "gates: cpu.load is gone",
        "limits is gone; it was [{bound: {reading: 'gpu.temperature', unit: '°C', at_most: 92}}]",
        "order.by was fewest-changes and is plan",
    )


# ---------------------------------------------------------------- procedure

CELL = cells(PLAN)[0]


def of(plan: d.Plan, cell: Cell = CELL, definitions: str = "average_fps/1") -> str:
    return procedure_hash(plan, cell, definitions=definitions)


def quay(change: Callable[[d.Title], d.Title]) -> d.Plan:
    return dataclasses.replace(PLAN, titles=(change(PLAN.titles[0]), *PLAN.titles[1:]))


MOVES = {
    "cut": quay(lambda t: dataclasses.replace(t, cut=d.Cut(from_s=6.0, length_s=60.0))),
    "command": quay(
        lambda t: dataclasses.replace(t, command=d.Command(argv=("x",), time_limit_s=180.0))
    ),
    "prepare": quay(lambda t: dataclasses.replace(t, prepare=())),
    "frames": quay(
        lambda t: dataclasses.replace(t, frames=d.Frames(file="f", column="x", unit="ms"))
    ),
    "a value": dataclasses.replace(
        PLAN, settings=(d.Setting(name="fhd", values=(("size", "1x1"),)), PLAN.settings[1])
    ),
    "a gate": dataclasses.replace(PLAN, gates=PLAN.gates[:1]),
    "a guard": dataclasses.replace(PLAN, guards=()),
    "warm-up": dataclasses.replace(
        PLAN, passes=dataclasses.replace(PLAN.passes, warm_up=d.WarmUp(passes=2))
    ),
}
LEAVES = {
    "another title": dataclasses.replace(PLAN, titles=PLAN.titles[:1]),
    "another level": dataclasses.replace(
        PLAN,
        conditions=(
            PLAN.conditions[0],
            dataclasses.replace(PLAN.conditions[1], levels=PLAN.conditions[1].levels[:1]),
        ),
    ),
    "how often": dataclasses.replace(PLAN, passes=dataclasses.replace(PLAN.passes, keep=7)),
    "order": dataclasses.replace(PLAN, order=d.Order(by=d.OrderBy.PLAN)),
    "limits": dataclasses.replace(PLAN, limits=None),
    "discard rules": dataclasses.replace(PLAN, discard=()),
    "a time limit": quay(
        lambda t: dataclasses.replace(t, command=dataclasses.replace(t.command, time_limit_s=181.0))
    ),
    "words": dataclasses.replace(PLAN, about="x", name="y", procedure="4", facts=()),
}


@pytest.mark.parametrize("name", MOVES)
def test_what_can_move_a_number_moves_the_procedure(name: str) -> None:
    assert of(MOVES[name]) != of(PLAN)


@pytest.mark.parametrize("name", LEAVES)
def test_what_cannot_leaves_the_procedure_as_it_is(name: str) -> None:
    assert of(LEAVES[name]) == of(PLAN)


def test_another_definition_moves_the_procedure() -> None:
    assert of(PLAN, definitions="average_fps/2") != of(PLAN)


def test_every_cell_of_a_plan_has_a_procedure_of_its_own() -> None:
    grid = cells(PLAN)

    assert len({of(PLAN, cell) for cell in grid}) == len(grid) == 12
