"""Periods laid upon each other: every drift at once is what each would give by itself."""

from __future__ import annotations

import random
import statistics

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.rules.folding import _drifting, _shifts, folded

LONG = 40


def rows(
    seed: int, count: int, *, at: int = 7, height: float = 0.0, drift: float = 0.0
) -> list[list[float]]:
    chance = random.Random(seed)
    made = [[chance.gauss(0.0, 1.0) for _ in range(LONG)] for _ in range(count)]
    for number, row in enumerate(made):
        for beside in (-1, 0, 1):  # as the windows of a place share frames
            row[(at + beside - round(drift * number / count)) % LONG] += height
    return made


@given(count=st.integers(1, 9), place=st.integers(0, LONG - 1), data=st.data())
def test_a_straight_drift_adds_up_in_its_own_profile(
    count: int, place: int, data: st.DataObject
) -> None:
    blocks = 8
    drift = data.draw(st.integers(0, blocks - 1))
    zeros = [[0.0] * LONG for _ in range(blocks * count)]
    of_block = _shifts(drift, blocks, blocks)
    for number, row in enumerate(zeros):
        row[(place - of_block[number // count]) % LONG] = 1.0
    profiles = _drifting(zeros, blocks, drifts=True)
    assert len(profiles) == blocks
    # The tree's lines are straight to within a step: all lies at most a step beside.
    near = sum(profiles[drift][(place + by) % LONG] for by in (-1, 0, 1))
    assert near == pytest.approx(blocks * count)


def test_no_drift_is_the_plain_sum() -> None:
    made = rows(1, 24)
    expected = [sum(column) for column in zip(*made, strict=True)]
    assert _drifting(made, 8, drifts=True)[0] == pytest.approx(expected)
    assert _drifting(made, 8, drifts=False) == [pytest.approx(expected)]


@settings(max_examples=25)
@given(count=st.integers(4, 70), seed=st.integers(0, 10**6), drifts=st.booleans())
def test_the_interval_holds_the_cost(count: int, seed: int, *, drifts: bool) -> None:
    found = folded(rows(seed, count), places=range(LONG), width=1, drifts=drifts, confidence=0.95)
    assert found.low_ms <= found.cost_ms <= found.high_ms


@pytest.mark.parametrize("drift", [0.0, 3.0, 9.0])
def test_what_stands_out_is_found_where_it_drifts(drift: float) -> None:
    found = [
        folded(
            rows(seed, 60, height=3.0, drift=drift),
            places=range(LONG), width=2, drifts=True, confidence=0.95,
        )
        for seed in range(6)
    ]  # fmt: skip
    assert all(each.found for each in found)
    assert statistics.fmean(each.cost_ms for each in found) == pytest.approx(3.0, rel=0.1)


def test_what_is_at_a_place_that_is_not_looked_at_is_not_found() -> None:
    made = rows(3, 60, at=7, height=3.0)
    found = folded(made, places=range(20, 30), width=1, drifts=False, confidence=0.95)
    assert not found.found
    assert found.high_ms < 1.0
