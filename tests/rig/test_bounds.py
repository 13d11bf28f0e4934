from __future__ import annotations

import pytest
from hypothesis import given

from harness.plan.document import Bound
from harness.plan.words import words
from harness.rig.bounds import Met, excess, met
from harness.rig.readings import Reading, Value
from tests.rules.strategies import bound, intervals, optional_tenths, tenths


def reading(value: Value | None, *, unit: str = "°C") -> Reading:
    if value is None:
        return Reading(name="gpu.temperature", unit=unit, why="no answer")
    return Reading(name="gpu.temperature", unit=unit, value=value)


@given(asked=intervals(), value=optional_tenths)
def test_an_interval_is_met_not_met_or_not_measured(asked: Bound, value: float | None) -> None:
    state = met(asked, reading(value))
    if value is None:
        assert state is Met.NOT_MEASURED
    else:
        low = asked.at_least if asked.at_least is not None else value
        high = asked.at_most if asked.at_most is not None else value
        assert state is (Met.MET if low <= value <= high else Met.NOT_MET)


@given(asked=intervals(), value=tenths)
def test_an_excess_is_positive_exactly_where_an_interval_is_not_met(
    asked: Bound, value: float
) -> None:
    assert (excess(asked, value) > 0.0) == (met(asked, reading(value)) is Met.NOT_MET)


@pytest.mark.parametrize(
    ("asked", "value", "state"),
    [
        (bound(equals=True, unit=""), True, Met.MET),
        (bound(equals=False, unit=""), True, Met.NOT_MET),
        (bound(equals=1.0, unit=""), True, Met.NOT_MEASURED),
        (bound(equals=16.0, unit=""), 16.0, Met.MET),
        (bound(equals="mains", unit=""), "battery", Met.NOT_MET),
        (bound(holds="LAB-TEST-2T", unit=""), ("A", "LAB-TEST-2T"), Met.MET),
        (bound(holds="LAB-TEST-2T", unit=""), (), Met.NOT_MET),
        (bound(at_most=92.0), "hot", Met.NOT_MEASURED),
        (bound(at_most=1.0), True, Met.NOT_MEASURED),
    ],
)
def test_values_are_held_only_against_bounds_of_their_kind(
    asked: Bound, value: Value, state: Met
) -> None:
    assert met(asked, reading(value, unit="")) is state


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (bound(at_most=92.0), "at most 92 °C"),
        (bound(at_least=6000.0, unit="MT/s"), "at least 6000 MT/s"),
        (bound(at_least=55.0, at_most=65.0), "between 55 °C and 65 °C"),
        (bound(equals=300.0, unit="W"), "300 W"),
        (bound(equals=False, unit=""), "false"),
        (bound(equals="mains", unit=""), "mains"),
    ],
)
def test_a_bound_in_words_goes_after_must_be(asked: Bound, text: str) -> None:
    assert words(asked) == text
