"""Frame times by size and by time: held against numpy, exact fractions and a plain list."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.rig.captures import plain, wide
from harness.rig.captures.assembly import frame_times
from harness.rig.captures.counted import CountedRun
from harness.rig.captures.times import (
    BLOCK_FRAMES,
    MOST_BLOCKS,
    Blocks,
    Runs,
    exact_parts,
)

TIMES = st.floats(min_value=1e-6, max_value=1e9, allow_nan=False)
RUNS = st.lists(st.lists(TIMES | st.sampled_from((8.0, 16.0)), max_size=20), min_size=1, max_size=6)

# R. J. Hyndman, Y. Fan, Sample Quantiles in Statistical Packages, The American Statistician 50
# (1996): type 7. The wafers and their row are of the NIST/SEMATECH e-Handbook, 7.2.6.2; the
# others were made with R 4.3.3 for the quantile test of Apache commons-statistics.
WAFERS = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610]
WAFERS += [95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]
CRABS = [12.5, 12.0, 11.8, 14.2, 14.9, 14.5, 21.0, 8.2, 10.3, 11.3, 14.1, 9.9, 12.2, 12.0, 12.1]
CRABS += [11.0, 19.8, 11.0, 10.0, 8.8, 9.0, 12.3]
TYPE_7 = [
    (WAFERS, 90, 95.19568, 1e-4),
    ([1.0, 3.0, 2.0, 4.0], 30, 1.9, 1e-5),
    ([1.0, 3.0, 2.0, 4.0], 25, 1.75, 1e-5),
    ([1.0, 3.0, 2.0, 4.0], 75, 3.25, 1e-5),
    ([1.0, 3.0, 2.0, 4.0], 50, 2.5, 1e-5),
    ([1.0, 2.0, 3.0], 75, 2.5, 1e-5),
    (CRABS, 5, 8.81, 1e-5),
    # worked out by the definition, no published figure
    ([float(value) for value in range(1, 11)], 99, 9.91, 1e-9),
    ([float(value) for value in range(1, 11)], 90, 9.1, 1e-9),
]


@pytest.mark.parametrize(("values", "percent", "expected", "tolerance"), TYPE_7)
def test_quantiles_are_of_type_7(
    values: list[float], percent: int, expected: float, tolerance: float
) -> None:
    assert frame_times(values).quantile(percent, 100) == pytest.approx(expected, abs=tolerance)


@given(st.lists(st.floats(min_value=0.1, max_value=1e4), min_size=1, max_size=200))
def test_quantiles_agree_with_numpy(values: list[float]) -> None:
    times = frame_times(values)
    for numerator, denominator in ((1, 100), (50, 100), (95, 100), (99, 100), (999, 1000)):
        expected = np.percentile(values, 100.0 * numerator / denominator, method="linear")
        assert times.quantile(numerator, denominator) == pytest.approx(expected, rel=1e-12)


def test_no_frames_have_no_times() -> None:
    with pytest.raises(ValueError, match="there must be one"):
        frame_times([])


@given(RUNS)
def test_runs_answer_as_one_sorted_list_would(runs: list[list[float]]) -> None:
    whole = sorted(value for run in runs for value in run)
    asked = Runs([sorted(run) for run in runs])
    assert asked.count == len(whole)
    assert [asked.at(rank) for rank in range(len(whole))] == whole
    for value in {*whole[:5], 8.0, 0.5}:
        assert asked.above(value) == sum(each > value for each in whole)
        assert asked.between(value, 2.0 * value) == sum(
            value <= each <= 2.0 * value for each in whole
        )
    for count in range(min(len(whole), 7) + 1):
        assert asked.largest(count) == whole[::-1][:count]


def test_a_rank_that_there_is_not_is_refused() -> None:
    with pytest.raises(IndexError):
        Runs([[1.0, 2.0]]).at(2)


TICKS = st.integers(1, 5_000_000).map(lambda tick: tick / 1000.0)


@given(st.lists(st.lists(TIMES | TICKS, min_size=1, max_size=30), min_size=1, max_size=8))
def test_sizes_and_sums_are_exact_however_they_are_cut(pieces: list[list[float]]) -> None:
    whole = [value for piece in pieces for value in piece]
    exact = float(sum(map(Fraction, whole)))
    for arithmetic in (plain, wide):
        by_size = arithmetic.BySize(lambda run: run)
        for piece in pieces:
            values: Any = arithmetic.taken(piece)
            assert by_size.ends(values) == (min(piece), max(piece))
            by_size.add(values)
        assert by_size.total() == exact
        runs = Runs(by_size.runs())
        assert [runs.at(rank) for rank in range(runs.count)] == sorted(whole)
        assert runs.largest(len(whole) // 2) == sorted(whole, reverse=True)[: len(whole) // 2]


@pytest.mark.parametrize("digits", [3, 15])
def test_many_frames_are_summed_exactly_on_the_grid_and_off_it(digits: int) -> None:
    values = np.random.default_rng(7).uniform(1e-2, 3e3, 300_000).round(digits)
    by_size = wide.BySize(lambda run: run)
    by_size.add(values)
    assert by_size.total() == math.fsum(values.tolist())
    assert isinstance(by_size.runs()[0], CountedRun) is (digits == 3)


@given(st.lists(st.tuples(st.floats(0.1, 99.0), st.integers(1, 5)), min_size=1, max_size=20))
def test_a_counted_run_is_the_list_it_stands_for(pairs: list[tuple[float, int]]) -> None:
    counts = dict(sorted(pairs))
    run = CountedRun(list(counts), list(counts.values()))
    written = [value for value, count in counts.items() for _ in range(count)]
    assert list(run) == written
    assert run[2:] == written[2:]
    assert run[:-4:-1] == written[:-4:-1]
    assert run[3:3] == []


@given(st.lists(TIMES, max_size=40))
def test_the_parts_of_a_sum_leave_nothing(values: list[float]) -> None:
    assert sum(map(Fraction, exact_parts(values))) == sum(map(Fraction, values))


@settings(deadline=None, max_examples=30)
@given(
    st.lists(st.integers(1, 40), min_size=1, max_size=12),
    st.sampled_from((plain, wide)),
)
def test_blocks_do_not_depend_on_pieces(cuts: list[int], arithmetic: object) -> None:
    assert arithmetic in (plain, wide)
    values = [5.0 + (place * 37 % 101) / 7.0 for place in range(sum(cuts) * BLOCK_FRAMES)]
    whole = Blocks()
    plain.add_blocks(whole, values)
    cut = Blocks()
    start = 0
    for blocks in cuts:
        piece = values[start : start + blocks * BLOCK_FRAMES]
        (plain if arithmetic is plain else wide).add_blocks(
            cut,
            piece if arithmetic is plain else np.array(piece),
        )
        start += len(piece)
    assert (cut.lows, cut.highs) == (whole.lows, whole.highs)
    assert (cut.count, cut.looked_at, cut.alternating) == (
        whole.count,
        whole.looked_at,
        whole.alternating,
    )


def test_blocks_grow_instead_of_becoming_more() -> None:
    count = 5 * MOST_BLOCKS + 3
    values = [float(1 + place % 977) for place in range(count * BLOCK_FRAMES)]
    blocks = Blocks()
    for start in range(0, len(values), 8000):
        plain.add_blocks(blocks, values[start : start + 8000])
    assert blocks.shift == 3
    assert blocks.complete == count // 8
    size = blocks.frames
    for place in range(blocks.complete):
        piece = values[place * size : (place + 1) * size]
        assert (blocks.lows[place], blocks.highs[place]) == (min(piece), max(piece))
