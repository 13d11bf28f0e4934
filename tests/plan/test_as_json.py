"""Values come back from their JSON as they were, or what does not fit is refused."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import pytest

from harness.plan.as_json import converter, plain, reader
from harness.plan.document import At, Better, By


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    from_s: float
    names: tuple[str, ...] = ()
    size: tuple[str, int] | None = None
    by: By | None = None
    facts: tuple[tuple[str, str], ...] = ()
    at: At | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    name: str
    cut: Cut | str
    value: int | float | bool | str | None = None


WHOLE = Scene(
    name="harbour loop",
    cut=Cut(
        from_s=5.0,
        names=("a", "b"),
        size=("fhd", 2),
        by=By.COMMAND,
        facts=(("card price", "649 EUR"),),
        at=At(line=3, column=1),
    ),
    value=2,
)


def written(value: object) -> str:
    return json.dumps(value, default=plain)


def test_a_value_is_written_without_what_takes_no_part_in_comparison() -> None:
    assert json.loads(written(WHOLE)) == {
        "name": "harbour loop",
        "cut": {
            "from_s": 5.0,
            "names": ["a", "b"],
            "size": ["fhd", 2],
            "by": "command",
            "facts": [["card price", "649 EUR"]],
        },
        "value": 2,
    }


@pytest.mark.parametrize("checked", [True, False])
@pytest.mark.parametrize(
    "value", [WHOLE, Scene(name="", cut="all"), Scene(name="x", cut=Cut(from_s=0.5), value=True)]
)
def test_a_value_comes_back(value: Scene, checked: bool) -> None:
    back = reader(Scene, checked=checked)(json.loads(written(value)))

    assert back == value
    assert type(back.value) is type(value.value)


@pytest.mark.parametrize("checked", [True, False])
def test_a_field_that_is_missing_takes_its_default(checked: bool) -> None:
    back = reader(Scene, checked=checked)({"name": "x", "cut": {"from_s": 0.5}})

    assert back == Scene(name="x", cut=Cut(from_s=0.5))


def test_a_float_may_be_written_without_a_fraction() -> None:
    back = reader(Cut, checked=True)({"from_s": 5})

    assert type(back.from_s) is float


@pytest.mark.parametrize("checked", [True, False])
@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        "x",
        {},
        {"name": "x"},
        {"name": "x", "cut": "all", "value": None, "later": 1},
        {"name": "x", "cut": "all", "later": 1},
        {"name": "x", "cut": {"from_s": 0.5, "by": "nobody"}},
        {"name": "x", "cut": {"from_s": 0.5, "at": None, "on": 1}},
    ],
)
def test_what_does_not_fit_the_class_is_refused(data: Any, checked: bool) -> None:
    with pytest.raises((KeyError, TypeError, ValueError)):
        reader(Scene, checked=checked)(data)


@pytest.mark.parametrize(
    "cut",
    [
        {"from_s": True},
        {"from_s": "5"},
        {"from_s": None},
        {"from_s": 5.0, "names": "ab"},
        {"from_s": 5.0, "names": [1]},
        {"from_s": 5.0, "size": ["fhd"]},
        {"from_s": 5.0, "size": ["fhd", "2"]},
        {"from_s": 5.0, "facts": [["card price", 649]]},
        {"from_s": 5.0, "facts": {"card price": "649"}},
        ["from_s"],
        5,
    ],
)
def test_a_checked_value_has_the_kinds_of_its_class(cut: Any) -> None:
    with pytest.raises((TypeError, ValueError)):
        reader(Scene, checked=True)({"name": "x", "cut": cut, "value": None})


@pytest.mark.parametrize("checked", [True, False])
@pytest.mark.parametrize(
    "hint", [Cut | Scene, By | str, Better | By, dict[str, int], tuple[Cut, int], list[int]]
)
def test_a_type_that_json_cannot_tell_apart_is_a_bug(hint: Any, checked: bool) -> None:
    with pytest.raises(TypeError, match="JSON cannot hold"):
        converter(hint, checked=checked)


def test_a_value_of_no_known_kind_is_a_bug() -> None:
    with pytest.raises(TypeError, match="set cannot be kept"):
        written(set())
