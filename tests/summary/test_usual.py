"""The limits of an individuals chart, against the handbook's worked example."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.summary.usual import LEAST, individuals

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten batches of flow rate. The
# handbook's own limits: mean 50.81, mean moving range 1.8778, 55.8041 and 45.8159.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_handbook_example_gives_the_handbook_limits() -> None:
    limits = individuals(FLOW)

    assert limits is not None
    assert limits.centre == pytest.approx(50.81, abs=0.005)
    assert limits.high == pytest.approx(55.8041, abs=0.001)
    assert limits.low == pytest.approx(45.8159, abs=0.001)


def test_fewer_than_twenty_values_give_provisional_limits() -> None:
    few, many = individuals(FLOW), individuals(FLOW * 2)

    assert few is not None
    assert few.provisional
    assert many is not None
    assert not many.provisional


def test_too_few_values_give_no_limits() -> None:
    assert individuals(FLOW[: LEAST - 1]) is None


@given(st.lists(st.floats(1.0, 1000.0), min_size=8, max_size=30), st.floats(0.1, 10.0))
def test_limits_scale_with_their_values(values: list[float], factor: float) -> None:
    one, other = individuals(values), individuals([factor * each for each in values])

    assert one is not None
    assert other is not None
    assert other.high == pytest.approx(factor * one.high, rel=1e-9, abs=1e-9)


@given(st.floats(1e-6, 1e9), st.integers(LEAST, 40))
def test_a_value_that_never_changes_lies_within_its_own_limits(value: float, n: int) -> None:
    limits = individuals([value] * n)

    assert limits is not None
    assert limits.low <= value <= limits.high
