from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import AskedError
from harness.views.page.page import HERE
from harness.views.page.selections import KEYS, arguments


def test_an_address_becomes_arguments_in_its_order() -> None:
    query = [("base", "slot=alone"), ("base", "rig=a"), ("figure", ""), ("with-marked", "yes")]
    assert arguments("compare", query) == ["--base=slot=alone", "--base=rig=a", "--with-marked"]


@pytest.mark.parametrize(
    "query",
    [[("store", "/x")], [("figure", "a"), ("figure", "b")], [("with-marked", "no")],
     [("where", "a" * 201)], [("where", "a\x07b")], [("where", "a=b")] * 41],
)  # fmt: skip
def test_what_is_not_asked_for_is_refused(query: list[tuple[str, str]]) -> None:
    with pytest.raises(AskedError):
        arguments("compare", query)


@given(st.sampled_from(sorted(KEYS)), st.lists(st.tuples(st.text(), st.text())))
def test_no_value_ever_becomes_another_option(command: str, query: list[tuple[str, str]]) -> None:
    try:
        found = arguments(command, query)
    except AskedError:
        return
    assert all(each.partition("=")[0].removeprefix("--") in KEYS[command] for each in found)


@pytest.mark.parametrize("view", sorted(KEYS))
def test_the_description_has_every_key_of_an_address(view: str) -> None:
    paths = json.loads((HERE / "openapi.json").read_text(encoding="utf-8"))["paths"]
    described = {each["name"] for each in paths[f"/api/{view}"]["get"]["parameters"]}
    assert described == set(KEYS[view])
