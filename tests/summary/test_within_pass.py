"""Effective numbers and block bootstrap against closed forms and certified values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from harness.summary.within_pass import (
    autocorrelations,
    average_fps,
    block_length,
    effective_size,
    low_1pct_fps,
    within_pass,
)

# NIST StRD, univariate sets Mavro and NumAcc1: certified lag-1 autocorrelation.
MAVRO = [
    2.00180, 2.00170, 2.00180, 2.00190, 2.00180, 2.00170, 2.00150, 2.00140, 2.00150, 2.00150,
    2.00170, 2.00180, 2.00180, 2.00190, 2.00190, 2.00210, 2.00200, 2.00160, 2.00140, 2.00130,
    2.00130, 2.00150, 2.00150, 2.00160, 2.00150, 2.00140, 2.00130, 2.00140, 2.00150, 2.00140,
    2.00150, 2.00160, 2.00150, 2.00160, 2.00190, 2.00200, 2.00200, 2.00210, 2.00220, 2.00230,
    2.00240, 2.00250, 2.00270, 2.00260, 2.00260, 2.00260, 2.00270, 2.00260, 2.00250, 2.00240,
]  # fmt: skip


def autoregressive(n: int, r: float, *, seed: int) -> NDArray[np.float64]:
    """Return a stationary AR(1) series with unit variance."""
    chance = np.random.default_rng(seed)
    steps = chance.standard_normal(n) * math.sqrt(1 - r * r)
    made = np.empty(n)
    made[0] = chance.standard_normal()
    for at in range(1, n):
        made[at] = r * made[at - 1] + steps[at]
    return made


def test_the_certified_autocorrelation_is_found() -> None:
    assert autocorrelations(MAVRO)[1] == pytest.approx(0.937989183438248, abs=1e-10)


@pytest.mark.parametrize("r", [0.0, 0.3, 0.5, 0.9])
def test_the_effective_number_of_an_autoregressive_series_is_the_closed_form(r: float) -> None:
    # n (1 - r) / (1 + r); the estimate itself varies by some per cent.
    found = [effective_size(list(autoregressive(8000, r, seed=seed))) for seed in range(8)]
    assert float(np.mean(found)) == pytest.approx(8000 * (1 - r) / (1 + r), rel=0.12)


def test_values_that_alternate_are_worth_more_than_their_number() -> None:
    found = effective_size(list(autoregressive(8000, -0.5, seed=1)))
    assert found == pytest.approx(3 * 8000, rel=0.15)


def test_equal_values_have_no_autocorrelation() -> None:
    assert effective_size([5.0] * 100) == pytest.approx(100)


def test_too_few_values_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 4"):
        effective_size([1.0, 2.0, 3.0])


def test_blocks_are_longer_where_values_follow_each_other_longer() -> None:
    lengths = [block_length(list(autoregressive(4000, r, seed=2))) for r in (0.0, 0.5, 0.9)]
    assert lengths == sorted(lengths)
    assert lengths[0] <= 3
    # The formula's own limit for AR(1) with r = 0.5, by hand: G = 2 r / (1 - r)^2 = 4,
    # D = 4/3 ((1 + r) / (1 - r))^2 = 12; (2 G^2 / D)^(1/3) n^(1/3) = 22.0.
    assert lengths[1] == pytest.approx(22.0, abs=8)


def test_circular_blocks_are_centred_on_the_mean_of_the_sample() -> None:
    # Moving blocks of two on these have the expected mean 3.625, circular ones 4.0; by hand.
    found = within_pass(
        [1.0, 2.0, 3.0, 4.0, 10.0],
        lambda rows: np.full(len(rows), rows.mean()),
        seed=1,
        block=2,
        replicates=40_000,
    )
    assert found.low == pytest.approx(4.0, abs=0.03)


def test_the_same_seed_gives_the_same_interval_and_the_figure_is_the_pass_s_own() -> None:
    frames = [float(each) for each in 16.6 + 0.5 * autoregressive(3000, 0.6, seed=5)]
    first = within_pass(frames, average_fps, seed=7, replicates=200)
    assert first == within_pass(frames, average_fps, seed=7, replicates=200)
    assert first.value == pytest.approx(1000 * len(frames) / math.fsum(frames), rel=1e-12)
    assert first.low < first.value < first.high
    low = within_pass(frames, low_1pct_fps, seed=7, replicates=200)
    assert low.low < low.value < low.high
    assert low.value < first.low


@pytest.mark.parametrize("r", [0.0, 0.5])
def test_the_interval_covers_the_mean_about_as_often_as_it_says(r: float) -> None:
    # 60 series: 57 expected of 95 %; 50 or fewer have a chance of 0.5 %.
    hits = 0
    for seed in range(60):
        values = list(10.0 + autoregressive(1000, r, seed=seed))
        found = within_pass(values, lambda rows: rows.mean(axis=-1), seed=seed, replicates=200)
        hits += found.low < 10.0 < found.high
    assert hits > 50
