"""The moving average and its limits, against the handbook's worked example."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.summary.ewma import ewma

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: centre 50, sd 2.0539, weight 0.3. The
# averages begin with 50 itself in the handbook; ours with the first value. Its upper limit is
# 52.5884; its lower, printed 47.4115, comes from a factor rounded to 0.4201 (unrounded: 47.4116).
VALUES = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
          47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
AVERAGES = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip


def handbook(values: list[float] = VALUES) -> list[tuple[float, float, float]]:
    found = ewma(values, centre=50.0, sd=2.0539, weight=0.3, reach=3.0)
    return [(each.z, each.low, each.high) for each in found]


def test_the_averages_are_the_handbooks() -> None:
    assert [z for z, _, _ in handbook()] == pytest.approx(AVERAGES, abs=5e-3)


def test_the_limits_after_many_values_are_the_handbooks() -> None:
    _, low, high = handbook(VALUES * 10)[-1]

    assert high == pytest.approx(52.5884, abs=5e-5)
    assert low == pytest.approx(47.4115, abs=1e-4)


def test_no_average_of_the_handbooks_example_is_outside() -> None:
    assert all(low < z < high for z, low, high in handbook())


@pytest.mark.parametrize(
    ("place", "low", "high"),
    # Computed from the exact variance, no published figure: 50 +- 3 sd sqrt(0.3/1.7 (1-0.7^2i)).
    [(1, 48.15149, 51.84851), (2, 47.743606, 52.256394), (5, 47.448389, 52.551612)],
)
def test_the_first_limits_are_narrower(place: int, low: float, high: float) -> None:
    assert handbook()[place - 1][1:] == pytest.approx((low, high), abs=5e-6)


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=20))
def test_with_a_weight_of_one_the_average_is_the_value(values: list[float]) -> None:
    found = ewma(values, centre=1.0, sd=2.0, weight=1.0, reach=3.0)

    assert [each.z for each in found] == values
    assert {(each.low, each.high) for each in found} == {(-5.0, 7.0)}


def test_a_centre_told_by_few_values_widens_the_limits_by_its_own_error() -> None:
    known, told = (ewma(VALUES, centre=50.0, sd=2.0, told_by=n)[-1] for n in (None, 20))

    halves = [(each.high - 50.0) / 6.0 for each in (known, told)]
    assert halves[1] ** 2 - halves[0] ** 2 == pytest.approx(1.0 / 20.0)


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.1])
def test_no_average_has_such_a_weight(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], centre=1.0, sd=1.0, weight=weight)
