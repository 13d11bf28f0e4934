"""The JSON Schema of plans and the checker say the same, as far as a schema can.

The reference is the jsonschema library with draft 2020-12. A plan is handed to it as two kinds
of YAML tools would: with every scalar as text, and with the types of YAML 1.2's core schema
(YAML 1.2.2, section 10.3.2).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from harness.plan import document as d
from harness.plan.check import check
from harness.plan.schema import schema
from harness.plan.source import is_plain
from tests.plan.test_build import EXAMPLE
from tests.plan.words import VOCABULARY, source_of
from tests.plan_text import written
from tests.strategies import few, plans

GOLDEN = Path(__file__).parents[1] / "golden" / "plans"
SCHEMA = schema(VOCABULARY)
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)

#: Problems that one key by itself shows, so that a schema can say them.
BY_ITSELF = {
    "unknown-key",
    "key-missing",
    "wrong-kind",
    "command-not-a-list",
    "empty-list",
    "empty-mapping",
    "unknown-reading",
    "bound-needed",
    "bounds-mixed",
    "not-true-or-false",
    "unknown-word",
    "unit-needed",
    "unknown-unit",
    "not-a-quantity",
    "not-a-whole-number",
    "too-long",
    "bad-time",
    "bad-days",
    "not-built-yet",
    "no-value",
}
#: Cases with such a problem that the schema does not see, each with the reason.
NOT_SEEN = {
    "q31_limit_in_fahrenheit.yaml": "the unit depends on the reading",
    "q33_limit_without_unit.yaml": "the unit depends on the reading",
    "q42_rule_with_foreign_key.yaml": "which keys a rule needs depends on the rule",
    "q68_figure_without_pattern.yaml": "which keys a figure needs depends on where it is from",
}


def as_text(node: Node) -> Any:
    """Return *node* as a tool sees it that takes every scalar as text."""
    return _data(node, lambda scalar: scalar.value)


def as_core(node: Node) -> Any:
    """Return *node* as a tool sees it that follows YAML 1.2's core schema."""

    def typed(scalar: ScalarNode) -> Any:
        text = scalar.value
        if not is_plain(scalar):
            return text
        if text in ("", "~", "null", "Null", "NULL"):
            return None
        if text in ("true", "True", "TRUE", "false", "False", "FALSE"):
            return text.lower() == "true"
        if re.fullmatch("[-+]?[0-9]+", text):
            return int(text)
        if re.fullmatch(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", text):
            return float(text)
        if re.fullmatch(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)", text):
            return float(text.replace(".", ""))
        return text

    return _data(node, typed)


def _data(node: Node, scalar: Any) -> Any:
    if isinstance(node, MappingNode):
        merged: dict[str, Any] = {}
        own: dict[str, Any] = {}
        for key, value in node.value:
            if key.value == "<<" and is_plain(key):
                merged |= _data(value, scalar)
            else:
                own[key.value] = _data(value, scalar)
        return merged | own
    if isinstance(node, SequenceNode):
        return [_data(item, scalar) for item in node.value]
    return scalar(node)


#: What a tool that types scalars can no longer tell; the checker sees the text.
TYPED_AWAY = {
    "q08_exponent.yaml": "1e3 is the number 1000 there",
    "q13_title_null.yaml": "a title called Null is nothing at all there: quotes are needed",
}

ROOTS = {
    path.name: root
    for path in sorted(GOLDEN.glob("*.yaml"))
    if (root := source_of(path.read_bytes()).root) is not None
}
FOUND = {
    name: {p.code for p in check(source_of((GOLDEN / name).read_bytes()), VOCABULARY).errors}
    for name in ROOTS
}
TAKEN = [name for name, found in FOUND.items() if not found]
SHOWN = [name for name, found in FOUND.items() if found & BY_ITSELF and name not in NOT_SEEN]


def fits(node: Node) -> dict[str, bool]:
    return {tool.__name__: VALIDATOR.is_valid(tool(node)) for tool in (as_text, as_core)}


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", TAKEN)
def test_what_the_checker_takes_the_schema_takes(name: str) -> None:
    assert fits(ROOTS[name]) == {"as_text": True, "as_core": name not in TYPED_AWAY}


@pytest.mark.parametrize("name", SHOWN)
def test_what_one_key_shows_to_be_wrong_the_schema_refuses(name: str) -> None:
    assert fits(ROOTS[name]) == {"as_text": False, "as_core": name in TYPED_AWAY}


def test_there_are_cases_of_both() -> None:
    assert len(TAKEN) > 10
    assert len(SHOWN) > 20


def test_the_example_fits() -> None:
    root = source_of(EXAMPLE.encode()).root
    assert root is not None

    assert fits(root) == {"as_text": True, "as_core": True}


@few
@given(plans())
def test_every_plan_in_order_fits(plan: d.Plan) -> None:
    root = source_of(written(plan).encode()).root
    assert root is not None

    assert fits(root) == {"as_text": True, "as_core": True}
