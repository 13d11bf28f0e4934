"""Figures against worked examples and numpy, and the rules for thin and not measured.

The worked examples are computed from the definitions in the module (no figure of them is
published); numpy is the reference for percentiles.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.rig.captures.assembly import frame_times
from harness.rules.figures import Computed, figures, low_name

ONE_THOUSAND = [10.0] * 985 + [20.0] * 10 + [50.0] * 5


def by_name(values: list[float]) -> dict[str, Computed]:
    return {figure.name: figure for figure in figures(frame_times(values))}


def test_average_frame_rate_is_frames_over_time_not_the_mean_of_rates() -> None:
    # 10, 10, 10, 50 ms: 4 frames in 80 ms are 50 fps; the mean of the four rates is 80.
    assert by_name([10.0, 10.0, 10.0, 50.0])["average_fps"].value == 50.0


def test_the_three_low_definitions_give_three_numbers() -> None:
    made = by_name(ONE_THOUSAND)
    assert made["average_fps"].value == pytest.approx(97.08737864, rel=1e-9)
    assert made["low_1pct_fps"].value == pytest.approx(50.0)
    assert made["low_1pct_fps_slowest_frames"].value == pytest.approx(28.57142857, rel=1e-9)
    assert made["low_1pct_fps_slowest_time"].value == pytest.approx(20.0)
    assert [
        made[low_name("low_1pct_fps", each)].definition
        for each in ("percentile", "slowest-frames", "slowest-time")
    ] == ["percentile/1", "slowest-frames/1", "slowest-time/1"]


def test_the_percentile_low_interpolates_time_not_rate() -> None:
    # 8, 10, 12, 16, 20 ms: type 7 at 99 % is 19.84 ms, 50.4032258 fps; the first percentile of
    # the rates would be 50.5.
    p99_ms = frame_times([8.0, 10.0, 12.0, 16.0, 20.0]).quantile(99, 100)
    assert 1000.0 / p99_ms == pytest.approx(50.4032258, rel=1e-8)


def test_few_frames_in_the_tail_are_thin() -> None:
    assert by_name(ONE_THOUSAND)["low_1pct_fps"].thin is False
    assert by_name(ONE_THOUSAND[1:])["low_1pct_fps"].thin is True
    slowest_time = by_name(ONE_THOUSAND)["low_1pct_fps_slowest_time"]
    assert (slowest_time.thin, slowest_time.tail) == (True, 3)


@pytest.mark.parametrize(("frames", "measured"), [(299, False), (300, True)])
def test_fewer_than_three_frames_in_the_tail_are_not_measured(frames: int, measured: bool) -> None:
    made = by_name([10.0 + place * 0.01 for place in range(frames)])
    for definition in ("percentile", "slowest-frames", "slowest-time"):
        figure = made[low_name("low_1pct_fps", definition)]
        assert (figure.value is not None) is measured
        assert (figure.why is None) is measured
        assert made[low_name("low_0_1pct_fps", definition)].value is None


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 2**32 - 1),
    frames=st.integers(3000, 5000),
    spread=st.floats(min_value=0.001, max_value=2.0),
)
def test_low_figures_agree_with_numpy(seed: int, frames: int, spread: float) -> None:
    values = np.random.default_rng(seed).lognormal(2.8, spread, frames).clip(0.01, 1e6).tolist()
    made = by_name(values)
    times = np.array(values)
    for name, percent, share in (("low_1pct_fps", 99.0, 100), ("low_0_1pct_fps", 99.9, 1000)):
        slowest = np.sort(times)[::-1]
        tail = len(values) // share
        filling = int(np.searchsorted(np.cumsum(slowest), times.sum() / share * (1 - 1e-12)))
        assert made[name].value == pytest.approx(1000.0 / np.percentile(times, percent), rel=1e-9)
        assert made[f"{name}_slowest_frames"].value == pytest.approx(
            tail * 1000.0 / slowest[:tail].sum(), rel=1e-9
        )
        assert made[f"{name}_slowest_time"].value == pytest.approx(
            1000.0 / slowest[filling], rel=1e-9
        )


def test_every_figure_has_unit_and_definition() -> None:
    for figure in figures(frame_times(ONE_THOUSAND)):
        assert figure.unit in ("fps", "ms", "frames")
        name, version = figure.definition.split("/")
        assert name
        assert int(version) >= 1
        assert (figure.value is None) is (figure.why is not None)


def test_longest_frame_and_frames_over_the_limit_are_always_there() -> None:
    made = by_name([16.0] * 50 + [5003.1, 100.0, 100.1])
    assert made["longest_frame_ms"].value == 5003.1
    assert made["frames_over_100_ms"].value == 2.0
