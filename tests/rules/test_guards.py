"""The semantics are stated in the plan's format; no source outside it, but where one is named."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import Bound, Guard
from harness.rig.crossings import GuardBreached, PassWatch
from harness.rules.guards import GuardWatch
from tests.rules.strategies import bound, guard, sample, traces

GPU = "gpu.temperature"
CASES = Path(__file__).parents[1] / "golden" / "sensors"


def carry_out(guards: tuple[Guard, ...], *temperatures: float | None) -> tuple[GuardBreached, ...]:
    watch: PassWatch = GuardWatch(guards, ())
    for second, value in enumerate(temperatures):
        assert watch.feed(sample(second, {GPU: value}), into_s=float(second)) is None
    return watch.breaches(wall_s=float(len(temperatures)))


def test_a_guard_without_a_share_is_breached_by_one_sample() -> None:
    assert carry_out((guard(90.0),), 80.0, 91.0, 80.0, 80.0) == (
        GuardBreached(
            guard=0,
            reading=GPU,
            bound="at most 90 °C",
            share=0.25,
            samples=1,
            measured=4,
            worst=91.0,
            unit="°C",
            seen=4,
        ),
    )


def test_a_guard_with_a_share_allows_exactly_that_share() -> None:
    assert carry_out((guard(90.0, share=0.25),), 80.0, 91.0, 80.0, 80.0) == ()
    assert carry_out((guard(90.0, share=0.25),), 80.0, 91.0, 80.0) != ()


def test_samples_without_a_value_take_no_part_in_the_share() -> None:
    (breach,) = carry_out((guard(90.0, share=0.3),), 91.0, None, None, 80.0)
    assert (breach.share, breach.samples, breach.measured, breach.seen) == (0.5, 1, 2, 4)


def test_a_guard_measured_in_fewer_than_half_of_the_samples_is_not_measured() -> None:
    (breach,) = carry_out((guard(90.0, share=0.3),), 80.0, None, None, 80.0, None)
    assert (breach.share, breach.measured, breach.seen) == (None, 2, 5)
    assert breach.why == "no answer"


def test_a_breach_says_what_was_allowed() -> None:
    (breach,) = carry_out((guard(90.0, share=0.05, for_s=3.0),), 91.0, 91.0, 91.0)
    assert breach.allowed == "for 5 % of the pass and for 3 s without a break"
    assert breach.longest_s == 2.0


def test_a_guard_for_a_time_counts_the_longest_unbroken_row() -> None:
    guards = (guard(90.0, for_s=3.0),)
    assert carry_out(guards, 80.0, 91.0, 91.0, 91.0, 91.0, 80.0) == ()
    assert carry_out(guards, 80.0, 91.0, 91.0, 80.0, 91.0, 91.0, 91.0, 80.0) == ()
    assert len(carry_out(guards, 80.0, 91.0, 91.0, 91.0, 91.0, 91.0)) == 1


def test_a_hole_in_the_readings_does_not_break_a_row() -> None:
    assert len(carry_out((guard(90.0, for_s=3.0),), 91.0, None, None, None, 91.0, 80.0)) == 1


def test_either_share_or_time_breaches_where_both_are_given() -> None:
    both = (guard(90.0, share=0.5, for_s=1.0),)
    assert len(carry_out(both, 91.0, 91.0, 91.0, *[80.0] * 20)) == 1
    assert len(carry_out(both, 91.0, 80.0, 91.0, 80.0, 91.0)) == 1
    assert carry_out(both, 91.0, 80.0, 91.0, 80.0) == ()


@pytest.mark.parametrize("trace", [(), (None, None, None)])
def test_a_guard_never_measured_is_breached_without_a_share(trace: tuple[None, ...]) -> None:
    (breach,) = carry_out((guard(90.0, share=0.9),), *trace)
    assert (breach.share, breach.samples, breach.measured, breach.worst) == (None, 0, 0, None)


def test_the_worst_value_is_the_furthest_outside() -> None:
    (breach,) = carry_out((guard(90.0),), 91.0, 95.0, 93.0)
    assert breach.worst == 95.0


@given(trace=traces, share=st.integers(0, 10).map(lambda n: n / 10))
def test_a_share_is_failed_over_measured(trace: list[float | None], share: float) -> None:
    found = carry_out((guard(60.0, share=share),), *trace)
    values = [value for value in trace if value is not None]
    failed = [value for value in values if value > 60.0]
    if not values or 2 * len(values) < len(trace):
        assert found[0].share is None
    elif len(failed) / len(values) > share:
        assert (found[0].share, found[0].worst) == (len(failed) / len(values), max(failed))
    else:
        assert found == ()


def case(name: str) -> list[dict[str, str]]:
    with (CASES / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def carried(asked: Bound, readings: list[tuple[float, bool | str]], share: float) -> list[int]:
    """Return the failed samples of the guard, if it is breached."""
    watch = GuardWatch((Guard(bound=asked, share=share),), ())
    for at_s, value in readings:
        watch.feed(sample(at_s, {asked.reading: value}), into_s=at_s)
    return [breach.samples for breach in watch.breaches(wall_s=readings[-1][0])]


@pytest.mark.parametrize(("reason", "samples"), [("heat", 2), ("power", 1)])
def test_clocks_held_down_under_load_void_a_pass_and_idle_ones_do_not(
    reason: str, samples: int
) -> None:
    # The made trace s10: "limited: power 1 sample; heat 2 samples" of five, one of them idle.
    rows = case("s10_throttled_under_load.csv")
    asked = bound(f"gpu.limited.{reason}", unit="", equals=False)
    found: list[tuple[float, bool | str]] = [
        (float(row["t_s"]), row["limit_reason"] == reason) for row in rows
    ]
    assert carried(asked, found, share=0.05) == [samples]
    assert carried(asked, found, share=0.5) == []


def test_mains_lost_in_a_pass_voids_it() -> None:
    # The made trace s12: "mains lost at t=660".
    rows = case("s12_power_supply_lost.csv")
    sources = {"1": "mains", "0": "battery"}
    found: list[tuple[float, bool | str]] = [
        (float(row["t_s"]), sources[row["on_mains"]]) for row in rows
    ]
    asked = bound("power.source", unit="", equals="mains")
    assert carried(asked, found, share=0.05) == [2]
    assert carried(asked, found[:2], share=0.05) == []


def test_a_screen_taken_over_by_another_session_voids_a_pass() -> None:
    asked = bound("screen.session", unit="", equals="2 wayland")
    assert carried(asked, [(0.0, "2 wayland"), (1.0, "5 remote"), (2.0, "5 remote")], 0.1) == [2]
