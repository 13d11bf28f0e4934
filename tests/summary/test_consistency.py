"""Tests of rigs that stand out, against the standards' tables."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.summary.consistency import (
    GRUBBS_TWO,
    Standing,
    cochran,
    cochran_critical,
    grubbs_one,
    grubbs_two,
    h_critical,
    k_critical,
    mandel_h,
    mandel_k,
)

# Critical values of Cochran's C for n values of each of p = 2 … 12: ISO 5725-2:1994, Table 4
# (from memory of it, and a public transcription). It rounds a few of them up.
COCHRAN_5 = {
    2: [0.998, 0.967, 0.906, 0.841, 0.781, 0.727, 0.680, 0.638, 0.602, 0.570, 0.541],
    3: [0.975, 0.871, 0.768, 0.684, 0.616, 0.561, 0.516, 0.477, 0.445, 0.417, 0.392],
    4: [0.939, 0.798, 0.684, 0.598, 0.532, 0.480, 0.438, 0.403, 0.373, 0.348, 0.326],
    5: [0.906, 0.746, 0.629, 0.544, 0.480, 0.431, 0.391, 0.358, 0.331, 0.308, 0.288],
    6: [0.877, 0.707, 0.589, 0.506, 0.445, 0.397, 0.359, 0.328, 0.303, 0.281, 0.262],
}
COCHRAN_1 = {
    2: [1.000, 0.993, 0.968, 0.928, 0.883, 0.838, 0.794, 0.754, 0.717, 0.684, 0.653],
    3: [0.995, 0.942, 0.864, 0.789, 0.722, 0.664, 0.615, 0.573, 0.536, 0.504, 0.475],
    4: [0.979, 0.883, 0.781, 0.696, 0.626, 0.568, 0.521, 0.481, 0.447, 0.418, 0.392],
    5: [0.959, 0.833, 0.721, 0.633, 0.563, 0.508, 0.463, 0.425, 0.393, 0.366, 0.343],
    6: [0.937, 0.793, 0.676, 0.588, 0.520, 0.466, 0.423, 0.387, 0.357, 0.332, 0.310],
}

# p: h at 0.5 %, 1 %, 5 %, and k of three values at the same: computed by Wilrich's form; ASTM
# E691 prints h 2.15 and k 2.06 for eight laboratories (from memory of it).
MANDEL = {
    5: (1.742424, 1.715037, 1.571221, 1.915836, 1.849016, 1.623467),
    6: (1.922228, 1.872226, 1.656266, 1.980042, 1.900357, 1.644481),
    8: (2.152492, 2.064890, 1.749078, 2.060840, 1.963777, 1.668925),
    10: (2.289954, 2.176068, 1.798410, 2.109390, 2.001289, 1.682643),
}


@pytest.mark.parametrize(("alpha", "table"), [(0.05, COCHRAN_5), (0.01, COCHRAN_1)])
def test_cochrans_critical_values_are_the_standards(
    alpha: float, table: dict[int, list[float]]
) -> None:
    for n, row in table.items():
        for p, printed in enumerate(row, start=2):
            assert cochran_critical(p, n, alpha=alpha) == pytest.approx(printed, abs=1.1e-3)


@pytest.mark.parametrize("p", MANDEL)
def test_mandels_critical_values(p: int) -> None:
    found = [
        *(h_critical(p, alpha=alpha) for alpha in (0.005, 0.01, 0.05)),
        *(k_critical(p, 3, alpha=alpha) for alpha in (0.005, 0.01, 0.05)),
    ]

    assert found == pytest.approx(MANDEL[p], abs=1e-6)


def test_mandels_critical_values_are_those_that_astm_prints() -> None:
    assert round(h_critical(8, alpha=0.005), 2) == 2.15
    assert round(k_critical(8, 3, alpha=0.005), 2) == 2.06


@pytest.mark.parametrize("p", [6, 8, 12])
def test_the_table_for_two_is_what_chance_gives(p: int) -> None:
    # 100 000 samples of a fixed seed: half a level a side, three standard errors allowed.
    samples = np.sort(np.random.default_rng(p).standard_normal((100_000, p)), axis=1)
    whole = samples.var(axis=1) * p
    left = samples[:, :-2].var(axis=1) * (p - 2)
    for critical, alpha in zip(GRUBBS_TWO[p], (0.05, 0.01), strict=True):
        share = float((left / whole < critical).mean())
        assert share == pytest.approx(alpha / 2.0, abs=3.0 * math.sqrt(alpha / 2.0 / 100_000))


def test_cochran_finds_the_largest_variance() -> None:
    found = cochran([1.0, 1.2, 30.0, 0.8, 1.1, 0.9], n=4)

    assert found is not None
    assert found.places == (2,)
    assert found.statistic == pytest.approx(30.0 / 35.0)
    assert found.standing is Standing.OUTLIER


def test_grubbs_is_a_straggler_between_five_and_one_per_cent() -> None:
    # Two-sided, eight values: 2.1266 at 5 % (NIST/SEMATECH e-Handbook 1.3.5.17.1), 2.2744 at 1 %.
    found = grubbs_one([0.1, -0.2, 0.3, -0.1, 0.2, -0.3, 0.0, 1.2])

    assert found is not None
    assert 2.1266 < found.statistic < 2.2744
    assert (found.places, found.standing) == ((7,), Standing.STRAGGLER)
    assert found.critical_5 == pytest.approx(2.1266, abs=5e-5)
    assert found.critical_1 == pytest.approx(2.2744, abs=5e-5)


def test_two_that_mask_each_other_are_found_together() -> None:
    means = [10.0, 10.1, 9.9, 10.05, 9.95, 10.02, 12.0, 12.1]
    one, two = grubbs_one(means), grubbs_two(means)

    assert one is not None
    assert one.standing is Standing.IN_ORDER
    assert two is not None
    assert (two.places, two.standing) == ((6, 7), Standing.OUTLIER)


def test_two_low_ones_are_found_as_well() -> None:
    found = grubbs_two([10.0, 10.1, 9.9, 10.05, 9.95, 10.02, 8.0, 7.9])

    assert found is not None
    assert found.places == (6, 7)


def test_h_and_k_stand_in_their_own_spread() -> None:
    # h is the distance in standard deviations of the means, k^2 averages to one.
    h, k = mandel_h([1.0, 2.0, 3.0]), mandel_k([1.0, 4.0, 4.0])

    assert h == pytest.approx((-1.0, 0.0, 1.0))
    assert k is not None
    assert math.fsum(each**2 for each in k) == pytest.approx(3.0)


@pytest.mark.parametrize("means", [[1.0, 1.0, 1.0, 1.0], [1.0, 2.0]])
def test_where_nothing_differs_or_too_few_are_there_nothing_is_tested(means: list[float]) -> None:
    assert grubbs_one(means) is None
    assert grubbs_two(means) is None
    assert mandel_h(means) is None
    assert cochran([0.0] * len(means), n=3) is None
