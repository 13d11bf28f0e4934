"""The semantics are stated in the plan's format; no source outside it."""

from __future__ import annotations

import pytest
from hypothesis import given

from harness.plan.document import Bound, Limit
from harness.rules.guards import GuardWatch
from tests.rules.strategies import bound, limit, sample, traces

GPU = "gpu.temperature"


def test_a_limit_whose_reading_is_lost_in_the_pass_is_breached() -> None:
    watch = GuardWatch((), (limit(92.0),))
    assert watch.feed(sample(0, {GPU: 80.0}), into_s=0.0) is None
    breach = watch.feed(sample(1, {GPU: None}), into_s=1.0)
    assert breach is not None
    assert (breach.value, breach.why, breach.at_s) == (None, "lost (no answer)", 1.0)


def test_a_limit_whose_reading_was_never_measured_is_breached() -> None:
    breach = GuardWatch((), (limit(92.0),)).feed(sample(0, {}), into_s=0.0)
    assert breach is not None
    assert (breach.value, breach.why) == (None, "this rig has no such reading")


@pytest.mark.parametrize(
    ("asked", "read", "value", "why"),
    [
        (bound("cpu.limited.heat", unit="", equals=False), True, 1.0, None),
        (bound("power.source", unit="", equals="mains"), "battery", None, "it is battery"),
        (
            bound(at_most=92.0),
            "hot",
            None,
            "cannot be held against it: hot",
        ),
    ],
)
def test_a_limit_on_what_is_no_number_says_what_was_read(
    asked: Bound, read: bool | str, value: float | None, why: str | None
) -> None:
    limits = (Limit(bound=asked),)
    breach = GuardWatch((), limits).feed(sample(0, {limits[0].bound.reading: read}), into_s=0.0)
    assert breach is not None
    assert (breach.value, breach.why) == (value, why)


def test_the_first_limit_in_the_plan_is_the_one_reported() -> None:
    breach = GuardWatch((), (limit(95.0), limit(92.0))).feed(sample(0, {GPU: 99.0}), into_s=0.0)
    assert breach is not None
    assert breach.bound == "at most 95 °C"


@given(trace=traces)
def test_a_limit_breach_is_at_the_first_sample_that_is_not_met(
    trace: list[float | None],
) -> None:
    watch = GuardWatch((), (limit(60.0),))
    breaches = [
        watch.feed(sample(second, {GPU: value}), into_s=float(second))
        for second, value in enumerate(trace)
    ]
    wanted = next((s for s, v in enumerate(trace) if v is None or v > 60.0), None)
    found = next((s for s, b in enumerate(breaches) if b is not None), None)
    assert found == wanted
