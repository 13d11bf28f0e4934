"""Whether a rig may start a run, and the limit of a card whose plan gives none."""

from __future__ import annotations

from dataclasses import replace

from harness.plan.document import Bound, Limit, Plan
from harness.rig.readings import Reading, measured, not_measured
from harness.run.ready import THRESHOLD, not_ready, relied_on, with_limit

BARE = Plan(name="two-slots", titles=(), settings=())
WARM = measured("gpu.temperature", 61.0)
SLOWS_DOWN = measured(THRESHOLD, 95.0)
NO_CARD = not_measured(THRESHOLD, "no NVIDIA driver is installed here")


def readings(*found: Reading) -> dict[str, Reading]:
    return {reading.name: reading for reading in found}


def test_a_plan_without_limits_relies_on_the_cards_own_threshold() -> None:
    assert relied_on(BARE) == ("gpu.temperature", THRESHOLD)


def test_a_plan_that_speaks_of_limits_relies_on_no_threshold() -> None:
    bound = Bound(reading="cpu.temperature", unit="°C", at_most=95.0)
    assert relied_on(replace(BARE, limits=(Limit(bound=bound),))) == ("cpu.temperature",)
    assert relied_on(replace(BARE, limits_none=True)) == ()


def test_with_a_threshold_that_can_be_read_the_plan_may_start() -> None:
    assert not_ready(BARE, readings(WARM, SLOWS_DOWN), file="plan.yaml") == ()


def test_without_one_it_may_not_and_the_reason_is_the_readings_own() -> None:
    (problem,) = not_ready(BARE, readings(WARM, NO_CARD), file="plan.yaml")
    assert problem.code == "no-limit"
    assert problem.what == (
        "the plan gives no limits, and the card's own cannot be used: gpu.temperature.slowdown "
        "is not measured: no NVIDIA driver is installed here"
    )


def test_a_threshold_is_worth_nothing_where_the_temperature_is_not_read() -> None:
    lost = not_measured("gpu.temperature", "this card does not tell it")
    (problem,) = not_ready(BARE, readings(lost, SLOWS_DOWN), file="plan.yaml")
    assert "gpu.temperature is not measured" in problem.what


def test_the_default_limit_is_where_the_card_slows_itself_down() -> None:
    plan, whence = with_limit(BARE, SLOWS_DOWN)
    bound = Bound(reading="gpu.temperature", unit="°C", at_most=95.0)
    assert plan.limits == (Limit(bound=bound),)
    assert whence == "gpu.temperature.slowdown, 95 °C: where the card slows itself down"


def test_a_plan_that_speaks_of_limits_keeps_its_own() -> None:
    for plan in (replace(BARE, limits_none=True), replace(BARE, limits=())):
        assert with_limit(plan, SLOWS_DOWN) == (plan, None)


def test_what_was_not_read_becomes_no_limit() -> None:
    assert with_limit(BARE, NO_CARD) == (BARE, None)
