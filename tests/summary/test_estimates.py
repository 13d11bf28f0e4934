"""Means, spreads and intervals against certified values and against scipy."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.rules.judgement import Figure
from harness.summary.estimates import estimate, half_width, mean_and_sd

RATE = Figure(name="average_fps", value=1.0, unit="frames/s", definition="frames-over-time/1")

# NIST Statistical Reference Datasets, univariate summary statistics: certified mean and
# sample standard deviation.
MAVRO = [
    2.00180, 2.00170, 2.00180, 2.00190, 2.00180, 2.00170, 2.00150, 2.00140, 2.00150, 2.00150,
    2.00170, 2.00180, 2.00180, 2.00190, 2.00190, 2.00210, 2.00200, 2.00160, 2.00140, 2.00130,
    2.00130, 2.00150, 2.00150, 2.00160, 2.00150, 2.00140, 2.00130, 2.00140, 2.00150, 2.00140,
    2.00150, 2.00160, 2.00150, 2.00160, 2.00190, 2.00200, 2.00200, 2.00210, 2.00220, 2.00230,
    2.00240, 2.00250, 2.00270, 2.00260, 2.00260, 2.00260, 2.00270, 2.00260, 2.00250, 2.00240,
]  # fmt: skip
MICHELSO = [
    299.85, 299.74, 299.90, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88,
    300.00, 299.98, 299.93, 299.65, 299.76, 299.81, 300.00, 300.00, 299.96, 299.96,
    299.96, 299.94, 299.96, 299.94, 299.88, 299.80, 299.85, 299.88, 299.90, 299.84,
    299.83, 299.79, 299.81, 299.88, 299.88, 299.83, 299.80, 299.79, 299.76, 299.80,
    299.88, 299.88, 299.88, 299.86, 299.72, 299.72, 299.62, 299.86, 299.97, 299.95,
    299.88, 299.91, 299.85, 299.87, 299.84, 299.84, 299.85, 299.84, 299.84, 299.84,
    299.89, 299.81, 299.81, 299.82, 299.80, 299.77, 299.76, 299.74, 299.75, 299.76,
    299.91, 299.92, 299.89, 299.86, 299.88, 299.72, 299.84, 299.85, 299.85, 299.78,
    299.89, 299.84, 299.78, 299.81, 299.76, 299.81, 299.79, 299.81, 299.82, 299.85,
    299.87, 299.87, 299.81, 299.74, 299.81, 299.94, 299.95, 299.80, 299.81, 299.87,
]  # fmt: skip
LOTTERY = [
    162, 671, 933, 414, 788, 730, 817, 33, 536, 875, 670, 236, 473, 167, 877, 980, 316, 950,
    456, 92, 517, 557, 956, 954, 104, 178, 794, 278, 147, 773, 437, 435, 502, 610, 582, 780,
    689, 562, 964, 791, 28, 97, 848, 281, 858, 538, 660, 972, 671, 613, 867, 448, 738, 966, 139,
    636, 847, 659, 754, 243, 122, 455, 195, 968, 793, 59, 730, 361, 574, 522, 97, 762, 431, 158,
    429, 414, 22, 629, 788, 999, 187, 215, 810, 782, 47, 34, 108, 986, 25, 644, 829, 630, 315,
    567, 919, 331, 207, 412, 242, 607, 668, 944, 749, 168, 864, 442, 533, 805, 372, 63, 458,
    777, 416, 340, 436, 140, 919, 350, 510, 572, 905, 900, 85, 389, 473, 758, 444, 169, 625,
    692, 140, 897, 672, 288, 312, 860, 724, 226, 884, 508, 976, 741, 476, 417, 831, 15, 318,
    432, 241, 114, 799, 955, 833, 358, 935, 146, 630, 830, 440, 642, 356, 373, 271, 715, 367,
    393, 190, 669, 8, 861, 108, 795, 269, 590, 326, 866, 64, 523, 862, 840, 219, 382, 998, 4,
    628, 305, 747, 247, 34, 747, 729, 645, 856, 974, 24, 568, 24, 694, 608, 480, 410, 729, 947,
    293, 53, 930, 223, 203, 677, 227, 62, 455, 387, 318, 562, 242, 428, 968,
]  # fmt: skip
LEW = [
    -213, -564, -35, -15, 141, 115, -420, -360, 203, -338, -431, 194, -220, -513, 154, -125,
    -559, 92, -21, -579, -52, 99, -543, -175, 162, -457, -346, 204, -300, -474, 164, -107, -572,
    -8, 83, -541, -224, 180, -420, -374, 201, -236, -531, 83, 27, -564, -112, 131, -507, -254,
    199, -311, -495, 143, -46, -579, -90, 136, -472, -338, 202, -287, -477, 169, -124, -568, 17,
    48, -568, -135, 162, -430, -422, 172, -74, -577, -13, 92, -534, -243, 194, -355, -465, 156,
    -81, -578, -64, 139, -449, -384, 193, -198, -538, 110, -44, -577, -6, 66, -552, -164, 161,
    -460, -344, 205, -281, -504, 134, -28, -576, -118, 156, -437, -381, 200, -220, -540, 83, 11,
    -568, -160, 172, -414, -408, 188, -125, -572, -32, 139, -492, -321, 205, -262, -504, 142,
    -83, -574, 0, 48, -571, -106, 137, -501, -266, 190, -391, -406, 194, -186, -553, 83, -13,
    -577, -49, 103, -515, -280, 201, 300, -506, 131, -45, -578, -80, 138, -462, -361, 201, -211,
    -554, 32, 74, -533, -235, 187, -372, -442, 182, -147, -566, 25, 68, -535, -244, 194, -351,
    -463, 174, -125, -570, 15, 72, -550, -190, 172, -424, -385, 198, -218, -536, 96,
]  # fmt: skip
CERTIFIED = {
    "Lottery": ([float(each) for each in LOTTERY], 518.958715596330, 291.699727470969, 1e-12),
    "Lew": ([float(each) for each in LEW], -177.435000000000, 277.332168044316, 1e-12),
    "Mavro": (MAVRO, 2.00185600000000, 0.000429123454003053, 1e-12),
    "Michelso": (MICHELSO, 299.852400000000, 0.0790105478190518, 1e-12),
    "NumAcc1": ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, 1e-15),
    "NumAcc2": ([1.2] + [1.1, 1.3] * 500, 1.2, 0.1, 1e-12),
    # Their inputs are no doubles: the last digits of sd are lost on the way in.
    "NumAcc3": ([1000000.2] + [1000000.1, 1000000.3] * 500, 1000000.2, 0.1, 1e-8),
    "NumAcc4": ([10000000.2] + [10000000.1, 10000000.3] * 500, 10000000.2, 0.1, 1e-8),
}

values = st.lists(st.floats(1.0, 1000.0), min_size=2, max_size=20)


def figures(*rates: float | None) -> list[Figure]:
    return [
        replace(RATE, value=rate, why=None if rate is not None else "no frames") for rate in rates
    ]


@pytest.mark.parametrize("name", CERTIFIED)
def test_mean_and_spread_are_the_certified_ones(name: str) -> None:
    data, mean, sd, tolerance = CERTIFIED[name]
    found = mean_and_sd(data)
    assert found[0] == pytest.approx(mean, rel=1e-14)
    assert found[1] == pytest.approx(sd, rel=tolerance)


def test_the_interval_is_the_handbooks() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.2, data ZARR13: n, mean, sd and the 95 % interval
    # (figures from memory of the page; they follow from each other).
    assert half_width(0.022789, 195) == pytest.approx((9.264679 - 9.258242) / 2, abs=1e-6)


@given(data=values)
def test_the_interval_agrees_with_scipy(data: list[float]) -> None:
    found = estimate(figures(*data), passes=len(data))
    assert found.mean is not None
    assert found.sd is not None
    assert found.half_width is not None
    error = float(stats.sem(data))
    if error < 1e-9:
        return
    low, high = stats.t.interval(0.95, len(data) - 1, loc=found.mean, scale=error)
    assert found.half_width == pytest.approx((float(high) - float(low)) / 2, rel=1e-9)
    assert found.confidence == 0.95


@given(data=values, shift=st.floats(1e6, 1e7))
def test_a_spread_small_beside_the_mean_keeps_its_digits(data: list[float], shift: float) -> None:
    sd = mean_and_sd(data)[1]
    shifted = mean_and_sd([value + shift for value in data])[1]
    assert sd is not None
    assert shifted == pytest.approx(sd, abs=1e-8)


def test_one_pass_has_a_mean_and_no_spread() -> None:
    found = estimate(figures(97.0), passes=1)
    assert (found.mean, found.n, found.sd, found.half_width) == (97.0, 1, None, None)
    assert found.why == "one pass has no spread"


def test_a_pass_without_a_value_takes_no_part_and_is_counted_as_missing() -> None:
    found = estimate(figures(100.0, None, 110.0), passes=3)
    assert (found.mean, found.n, found.missing) == (105.0, 2, 1)


def test_no_value_at_all_is_not_measured_with_the_reason_and_not_zero() -> None:
    found = estimate(figures(None, None), passes=2)
    assert (found.mean, found.n, found.missing, found.why) == (None, 0, 2, "no frames")


def test_two_definitions_of_one_figure_are_never_averaged() -> None:
    mixed = [RATE, replace(RATE, definition="frames-over-time/2")]
    found = estimate(mixed, passes=2)
    assert found.mean is None
    assert found.why == (
        "the passes do not share one definition: frames-over-time/1 in frames/s, "
        "frames-over-time/2 in frames/s"
    )


def test_passes_of_equal_length_give_the_rate_over_all_their_time() -> None:
    # Two minutes at 100 and 50 frames/s: 9000 frames in 120 s. Arithmetic; common knowledge.
    assert estimate(figures(6000 / 60, 3000 / 60), passes=2).mean == 9000 / 120


def test_different_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="one figure is wanted"):
        estimate([RATE, replace(RATE, name="longest_ms")], passes=2)
