from __future__ import annotations

import math

import numpy as np
import pytest

from harness.summary.fieller import ratio_interval


def test_the_interval_of_two_means_with_their_standard_errors() -> None:
    # DCPROGS/DCSTATS, tests/test_fieller.py: a 14 +- 3, b 7 +- 2 (standard errors), df 10.
    found = ratio_interval(14.0, 7.0, var_a=9.0, var_b=4.0, df=10)
    narrow = ratio_interval(14.0, 7.0, var_a=9.0, var_b=4.0, df=10, confidence=0.90)

    assert found == pytest.approx((0.889734, 5.836045), abs=1e-5)
    assert narrow == pytest.approx((1.051413, 4.414296), abs=1e-5)


@pytest.mark.parametrize(
    ("confidence", "ends"), [(0.90, (1.54, 2.64)), (0.95, (1.46, 2.83)), (0.99, (1.27, 3.36))]
)
def test_a_calculator_for_two_samples_prints_the_same(
    confidence: float, ends: tuple[float, float]
) -> None:
    # Figures quoted in the notes of the same project: means 14 and 7, sd 3 and 2, six each.
    found = ratio_interval(14.0, 7.0, var_a=9.0 / 6, var_b=4.0 / 6, df=10, confidence=confidence)

    assert found == pytest.approx(ends, abs=5e-3)


def test_a_sample_with_all_its_digits() -> None:
    # The same source.
    found = ratio_interval(
        13.8156018784828,
        7.373761350516429,
        var_a=2.5318571014924607**2 / 6,
        var_b=1.7214705715414245**2 / 6,
        df=10,
    )

    assert found == pytest.approx((1.436957351945638, 2.487248647961153), abs=1e-6)


def test_the_rats_of_two_doses() -> None:
    # Data from CRAN mratios 1.4.4; the interval is computed, no published figure.
    control = [519.8, 535.7, 491.7, 508.7, 565.5, 485.8, 520.7, 507.5, 428.9, 466.0]
    dose = [465.0, 492.2, 466.3, 555.5, 528.1, 483.8, 502.8, 468.1, 519.2, 500.2]
    pooled = float(np.var(control, ddof=1) + np.var(dose, ddof=1)) / 2

    found = ratio_interval(
        float(np.mean(dose)), float(np.mean(control)),
        var_a=pooled / 10, var_b=pooled / 10, df=18, confidence=0.90,
    )  # fmt: skip

    assert found == pytest.approx((0.939372738, 1.043831481), abs=1e-8)


def test_a_denominator_not_told_from_zero_has_no_interval() -> None:
    assert ratio_interval(1.0, 1.0, var_a=0.04, var_b=0.4, df=10) is None  # g = 1.985841


def test_it_agrees_with_the_logarithms_where_the_spread_is_small() -> None:
    found = ratio_interval(112.0, 100.0, var_a=0.25, var_b=0.25, df=8)
    half = 2.306004 * math.hypot(0.5 / 112.0, 0.5 / 100.0)

    assert found == pytest.approx((1.12 * math.exp(-half), 1.12 * math.exp(half)), abs=2e-4)
