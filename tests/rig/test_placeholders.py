from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import PlanError
from harness.rig.placeholders import filled


def test_a_placeholder_is_filled_wherever_it_stands_in_an_argument() -> None:
    argv = ("render", "--to={captures}/a.csv", "{size}x{size}")
    assert filled(argv, {"captures": "/work/c", "size": "9"}) == (
        "render",
        "--to=/work/c/a.csv",
        "9x9",
    )


def test_doubled_braces_are_braces() -> None:
    assert filled(('{{"size": {size}}}',), {"size": "9"}) == ('{"size": 9}',)


def test_braces_in_a_value_mean_nothing() -> None:
    assert filled(("{scene}",), {"scene": "{size} }} {{"}) == ("{size} }} {{",)


def test_an_unknown_placeholder_is_named_with_those_that_are_known() -> None:
    with pytest.raises(PlanError) as refused:
        filled(("render", "{sise}"), {"size": "9", "scene": "harbour loop"})
    assert str(refused.value) == (
        "error[unknown-placeholder]: nothing is known here for {sise}\n"
        "  command: render {sise}\n"
        "  do: write one of scene, size, or {{ for a brace"
    )


@given(st.lists(st.text().filter(lambda text: "{" not in text and "}" not in text)))
def test_arguments_without_braces_stay_as_they_are(argv: list[str]) -> None:
    assert filled(argv, {}) == tuple(argv)


@given(st.text())
def test_any_text_survives_when_its_braces_are_doubled(text: str) -> None:
    assert filled((text.replace("{", "{{").replace("}", "}}"),), {}) == (text,)
