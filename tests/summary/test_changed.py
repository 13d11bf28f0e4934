from __future__ import annotations

import math
from datetime import timedelta

import pytest
from scipy import stats

from harness.summary.changed import changed
from harness.summary.series import Measured
from tests.summary.over_nights import FIRST_NIGHT

OLD, NEW = {"gpu.driver": "572.10"}, {"gpu.driver": "575.01"}


def measured(*values: tuple[float, dict[str, str]]) -> tuple[Measured, ...]:
    return tuple(
        Measured(
            at=FIRST_NIGHT + timedelta(hours=n), run="r", attempt=n, value=value, fields=fields
        )
        for n, (value, fields) in enumerate(values)
    )


def test_a_change_has_the_step_and_interval_of_welch_on_logarithms() -> None:
    before, after = [100.0, 101.0, 99.5, 100.5], [98.0, 98.8, 97.9]
    [found] = changed(measured(*((v, OLD) for v in before), *((v, NEW) for v in after)))

    # Reference: scipy's Welch interval.
    result = stats.ttest_ind(
        [math.log(v) for v in after], [math.log(v) for v in before], equal_var=False
    )
    interval = result.confidence_interval(0.95)
    assert found.place == 4
    assert found.fields == (("gpu.driver", "572.10", "575.01"),)
    assert (found.before, found.after) == (4, 3)
    assert found.low == pytest.approx(math.expm1(interval.low), rel=1e-9)
    assert found.high == pytest.approx(math.expm1(interval.high), rel=1e-9)
    assert found.told


def test_each_change_is_held_against_the_stretch_before_it() -> None:
    third = {"gpu.driver": "580.00"}
    first, second = changed(
        measured((100.0, OLD), (100.0, OLD), (90.0, NEW), (90.0, NEW), (99.0, third), (99.0, third))
    )

    assert first.step == pytest.approx(-0.10)
    assert second.step == pytest.approx(0.10)


def test_one_value_a_side_tells_no_interval_and_no_step() -> None:
    [found] = changed(measured((100.0, OLD), (50.0, NEW)))

    assert found.step == pytest.approx(-0.5)
    assert (found.low, found.high, found.told) == (None, None, False)


def test_a_field_that_was_not_read_once_has_not_changed() -> None:
    assert changed(measured((1.0, OLD), (1.0, {}), (1.0, OLD))) == ()
    assert changed(measured((1.0, {}), (1.0, OLD))) == ()


def test_a_change_while_a_field_was_not_read_is_found_when_it_is_read_again() -> None:
    [found] = changed(measured((1.0, OLD), (1.0, {}), (1.0, NEW)))

    assert found.place == 2


def test_values_that_are_not_above_zero_have_no_ratio() -> None:
    [found] = changed(measured((0.0, OLD), (1.0, NEW)))

    assert found.step is None
