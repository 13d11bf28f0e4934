"""What the looks of a pass cost its frames: unbiased, with an interval that holds the truth.

The formula is ours, so the check is what it must find: passes simulated here, with a cost that is
known because it was put in.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import replace
from typing import Any

import pytest

from harness.rig.captures.assembly import frame_times
from harness.rig.tasks import Sampling
from harness.rules.judgement import HarnessCost
from harness.rules.observer import DEFINITION, harness_cost
from tests.rules.looked_at import STARTED_S, LookedAt, looked_at


def cost(of: LookedAt, *, slept: bool = False) -> HarnessCost:
    return harness_cost(of.times, of.sampling, wall_s=of.wall_s, slept=slept)


def costs(passes: int, **how: Any) -> list[HarnessCost]:
    return [cost(looked_at(seed, **how)) for seed in range(passes)]


def mean_and_error(found: list[HarnessCost]) -> tuple[float, float]:
    values = [each.cost_ms for each in found if each.cost_ms is not None]
    assert len(values) == len(found)
    return statistics.fmean(values), statistics.stdev(values) / math.sqrt(len(values))


def holding(found: list[HarnessCost], truth_ms: float) -> int:
    return sum(
        each.low_ms is not None and each.high_ms is not None
        and each.low_ms <= truth_ms <= each.high_ms
        for each in found
    )  # fmt: skip


# --- on one clock -------------------------------------------------------------------------


@pytest.mark.parametrize("truth_ms", [0.0, 0.05, 0.2, 1.0])
def test_on_one_clock_the_cost_put_in_is_found(truth_ms: float) -> None:
    found = costs(12, cost_ms=truth_ms)
    mean_ms, error_ms = mean_and_error(found)
    assert {each.laid for each in found} == {"clock"}
    assert mean_ms == pytest.approx(truth_ms, abs=4 * error_ms)
    assert error_ms < 0.03
    # Of 12 intervals of 95 %, 9 or fewer hold the truth once in 400 times.
    assert holding(found, truth_ms) >= 9


def test_the_share_is_that_of_one_look_in_every_second() -> None:
    [found] = costs(1, cost_ms=1.0)
    assert found.definition == DEFINITION
    assert found.cost_ms is not None
    assert found.share == pytest.approx(found.cost_ms / 1000.0, rel=0.05)
    assert found.high_ms is not None
    assert found.most_share == pytest.approx(found.high_ms / 1000.0, rel=0.05)


def test_looks_that_seldom_cost_much_are_counted_whole() -> None:
    mean_ms, error_ms = mean_and_error(costs(6, cost_ms=1.0, each=4, hitches=0.0))
    assert mean_ms == pytest.approx(1.0, abs=4 * max(error_ms, 0.02))


@pytest.mark.parametrize("clock_s", [5e6, -1.7e9])
def test_another_clock_of_the_machine_is_known_by_its_values(clock_s: float) -> None:
    seen = looked_at(3, cost_ms=0.5)
    assert seen.times.began_ms is not None
    seen.times.began_ms -= 1000.0 * clock_s
    behind = replace(seen.sampling, behind_s=(0.0, clock_s))
    assert cost(replace(seen, sampling=behind)).laid == "clock"


def test_clocks_that_cannot_be_told_apart_are_not_guessed() -> None:
    seen = looked_at(3, cost_ms=0.5)
    near = replace(seen.sampling, behind_s=(0.0, 0.05))
    assert cost(replace(seen, sampling=near)).laid != "clock"


# --- folded -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "how",
    [{}, {"begins_s": 3.0}, {"gap_ms": 0.002}, {"frame_ms": 16.0, "noise_ms": 0.2}],
    ids=["soon", "any place", "unlogged time", "long frames"],
)
def test_durations_without_a_cost_give_none(how: dict[str, Any]) -> None:
    found = costs(12, clock=False, **how)
    mean_ms, error_ms = mean_and_error(found)
    assert mean_ms == pytest.approx(0.0, abs=4 * error_ms)
    assert error_ms < 0.03
    assert holding(found, 0.0) >= 11


@pytest.mark.parametrize("how", [{}, {"begins_s": 3.0}, {"gap_ms": 0.002}])
def test_durations_show_a_cost_wherever_the_looks_are(how: dict[str, Any]) -> None:
    found = costs(8, cost_ms=1.0, clock=False, **how)
    mean_ms, error_ms = mean_and_error(found)
    assert {each.laid for each in found} == {"found"}
    assert mean_ms == pytest.approx(1.0, abs=0.03 + 4 * error_ms)
    assert holding(found, 1.0) >= 6


@pytest.mark.parametrize("truth_ms", [0.05, 0.2])
def test_a_small_cost_is_found_or_within_the_bound(truth_ms: float) -> None:
    found = costs(10, cost_ms=truth_ms, clock=False, seconds=60.0)
    assert holding(found, truth_ms) >= 8
    assert sum(each.laid == "found" for each in found) >= (8 if truth_ms == 0.2 else 0)


def test_chance_is_seldom_called_a_cost() -> None:
    found = costs(40, clock=False, seconds=12.0)
    # Once in a hundred at most: three or more of 40 once in 100 times.
    assert sum(each.laid == "found" for each in found) <= 2


def test_a_clock_of_the_titles_own_is_folded() -> None:
    seen = looked_at(3, cost_ms=1.0)
    seen.times.began_ms = 0.0
    assert cost(seen).laid == "found"


# --- not measured -------------------------------------------------------------------------


def test_a_short_pass_has_too_few_looks() -> None:
    found = cost(looked_at(1, seconds=3.0))
    assert found.cost_ms is None
    assert found.why == "4 looks at the rig in the pass, and 5 are the least"


def test_durations_need_more_looks_than_clock_values() -> None:
    assert "8 are the least" in str(cost(looked_at(1, seconds=7.0, clock=False)).why)
    assert cost(looked_at(1, seconds=7.0)).why is None


def test_a_suspended_machine_has_no_lasting_period() -> None:
    assert cost(looked_at(1), slept=True).why == "the machine was suspended during the pass"


def test_frames_too_long_for_the_period_are_told() -> None:
    why = cost(looked_at(1, frame_ms=120.0, seconds=20.0)).why
    assert str(why).endswith("fewer than 12 lie between two looks")


def test_looks_that_never_end_are_told() -> None:
    seen = looked_at(1, clock=False)
    long = tuple((start, start + 0.4) for start, _ in seen.sampling.looks)
    found = cost(replace(seen, sampling=replace(seen.sampling, looks=long)))
    assert found.why == "a look takes 400 ms, too much of 1000 ms"


def test_a_capture_of_other_times_than_the_looks_is_told() -> None:
    seen = looked_at(1)
    looks = tuple((start + 500.0, end + 500.0) for start, end in seen.sampling.looks)
    found = cost(replace(seen, sampling=replace(seen.sampling, looks=looks)))
    assert found.why == "0 looks at the rig with frames around, and 5 are the least"


@pytest.mark.parametrize("frames", [1, 2, 17, 18, 30, 400])
@pytest.mark.parametrize("begins_ms", [None, 1000.0 * STARTED_S])
def test_few_frames_alike_to_the_last_digit_raise_nothing(
    frames: int, begins_ms: float | None
) -> None:
    times = frame_times([40.0] * frames)
    times.began_ms = begins_ms
    looks = tuple((STARTED_S + tick, STARTED_S + tick + 0.001) for tick in range(20))
    sampling = Sampling(started_s=STARTED_S, interval_s=1.0, looks=looks)
    found = harness_cost(times, sampling, wall_s=20.0)
    assert (found.why is None) == (found.cost_ms is not None)
    assert found.cost_ms in (None, pytest.approx(0.0, abs=1e-9))
