"""The keys for warming up: a warm-up until steady, and gates that preload."""

from __future__ import annotations

import pytest

from harness.plan import document as d
from harness.plan.schema import schema
from tests.plan.words import VOCABULARY, changed, checked, codes

STEADY = ("warm_up: 1", "warm_up: {until: steady, within: 2 %, at_most: 4, when: [launch]}")


def warm_up(text: str) -> d.WarmUp:
    return checked(changed(("warm_up: 1", f"warm_up: {text}"))).accepted().passes.warm_up


def gates(text: str) -> str:
    return changed(add=f"gates: [{{reading: gpu.temperature, {text}}}]\n")


def test_a_warm_up_until_steady_is_read_whole() -> None:
    assert checked(changed(STEADY)).accepted().passes.warm_up == d.WarmUp(
        within=0.02, at_most=4, when=(d.WarmUpWhen.LAUNCH,)
    )


def test_until_steady_has_its_defaults() -> None:
    made = warm_up("{until: steady}")
    assert (made.within, made.at_most) == (0.01, 5)
    assert warm_up("2").within is None


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("{until: warm}", "unknown-word"),
        ("{until: steady, passes: 2}", "unused-key"),
        ("{within: 1 %}", "unused-key"),
        ("{passes: 2, at_most: 4}", "unused-key"),
        ("{until: steady, at_most: 1}", "number-too-small"),
    ],
)
def test_a_warm_up_that_contradicts_itself_is_refused(text: str, code: str) -> None:
    (found,) = codes(changed(("warm_up: 1", f"warm_up: {text}")))
    assert found == code


def test_a_gate_may_preload_into_a_band() -> None:
    (gate,) = checked(gates("between: [55 °C, 65 °C], preload: true")).accepted().gates
    assert gate.preload
    (gate,) = checked(gates("between: [55 °C, 65 °C], preload: false")).accepted().gates
    assert not gate.preload


@pytest.mark.parametrize(
    "text",
    [
        gates("at_most: 65 °C, preload: true"),
        changed(add="gates: [{reading: cpu.load, at_least: 5 %, preload: true}]\n"),
    ],
)
def test_a_preload_without_a_lower_edge_of_a_temperature_is_refused(text: str) -> None:
    assert codes(text) == ["unused-key"]


def test_an_editor_knows_the_keys() -> None:
    text = str(schema(VOCABULARY))
    for key in ("'until'", "'within'", "'preload'"):
        assert key in text
