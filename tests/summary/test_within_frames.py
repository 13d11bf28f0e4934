from __future__ import annotations

import numpy as np
import pytest

from harness.summary.within_frames import frames_within
from harness.views.within import within_json, within_lines


def steady(n: int, *, seed: int = 3) -> list[float]:
    """Independent frame times about 10 ms."""
    return list(np.random.default_rng(seed).normal(10.0, 0.5, n))


def test_a_loading_head_is_found_and_told_and_nothing_is_cut() -> None:
    frames = [40.0] * 100 + steady(2000)
    found = frames_within(frames, of=len(frames))

    assert found is not None
    assert found.head_frames == 100
    assert found.head_ms == pytest.approx(4000.0)
    assert found.average.value == pytest.approx(1000.0 / np.mean(frames))
    assert "100 frames, 4 s (MSER-5); told, not cut" in "\n".join(within_lines(found))


def test_the_interval_of_independent_frames_is_that_of_their_mean() -> None:
    # Of independent values the standard error of the mean is s / sqrt(n); the rate is its inverse.
    frames = steady(4000)
    found = frames_within(frames, of=4000)
    assert found is not None

    half_ms = 1.96 * float(np.std(frames, ddof=1)) / np.sqrt(4000)
    expected = 1000.0 / np.mean(frames) * half_ms / np.mean(frames)
    assert 0.5 * (found.average.high - found.average.low) == pytest.approx(expected, rel=0.15)
    assert found.effective == pytest.approx(4000, rel=0.2)


def test_frames_that_follow_their_neighbours_are_worth_fewer() -> None:
    slow = list(
        10.0 + np.sin(np.arange(4000) / 60.0) + np.random.default_rng(1).normal(0, 0.1, 4000)
    )
    found = frames_within(slow, of=4000)

    assert found is not None
    assert found.effective < 200
    assert not found.average_holds
    shown = within_json(found)
    assert shown is not None
    assert shown["average_fps"]["low"] is None  # type: ignore[index]
    assert "no interval: with fewer than 200 effective frames" in "\n".join(within_lines(found))


def test_too_few_frames_say_so() -> None:
    assert frames_within(steady(99), of=99) is None
    assert within_json(None) is None
    assert "not measured: fewer than 100 frames" in "\n".join(within_lines(None))


def test_a_low_figure_with_too_few_frames_in_its_tail_is_not_measured() -> None:
    found = frames_within(steady(250), of=250)

    assert found is not None
    assert found.low is None
    assert "1 % low: not measured" in "\n".join(within_lines(found))


def test_only_the_first_frames_of_a_long_pass_are_looked_at_and_that_is_said() -> None:
    found = frames_within(steady(3000), of=500_000)

    assert found is not None
    assert "from the first 3000 of 500000 frames" in "\n".join(within_lines(found))


def test_a_low_figure_needs_more_effective_frames_than_an_average() -> None:
    found = frames_within(steady(600), of=600)

    assert found is not None
    assert (found.average_holds, found.low_holds) == (True, False)
    assert "1 % low: " in "\n".join(within_lines(found))
