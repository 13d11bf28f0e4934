"""What the tests of the rules draw from: bounds, readings, samples."""

from __future__ import annotations

from collections.abc import Mapping

from hypothesis import strategies as st

from harness.plan.document import Bound, Gate, Guard, Limit, Then
from harness.rig.readings import Reading, Sample

#: Values with few digits, so that they meet each other and their bounds.
tenths = st.integers(min_value=0, max_value=1200).map(lambda n: n / 10)


def bound(
    reading: str = "gpu.temperature",
    *,
    unit: str = "°C",
    at_least: float | None = None,
    at_most: float | None = None,
    equals: float | bool | str | None = None,
    holds: str | None = None,
) -> Bound:
    return Bound(
        reading=reading, unit=unit, at_least=at_least, at_most=at_most, equals=equals, holds=holds
    )


def gate(
    at_most: float,
    *,
    reading: str = "gpu.temperature",
    for_s: float = 0.0,
    give_up_s: float = 900.0,
    then: Then = Then.MARK,
) -> Gate:
    return Gate(bound=bound(reading, at_most=at_most), for_s=for_s, give_up_s=give_up_s, then=then)


def guard(
    at_most: float = 90.0, *, share: float | None = None, for_s: float | None = None
) -> Guard:
    return Guard(bound=bound(at_most=at_most), share=share, for_s=for_s)


def limit(at_most: float = 92.0) -> Limit:
    return Limit(bound=bound(at_most=at_most))


def sample(at_s: float, values: Mapping[str, float | bool | str | None]) -> Sample:
    """Return a sample; None is a reading that was not measured."""
    return Sample(
        at_s=at_s,
        end_s=at_s,
        readings={
            name: Reading(name=name, unit="°C", why="no answer")
            if value is None
            else Reading(name=name, unit="°C" if isinstance(value, float) else "", value=value)
            for name, value in values.items()
        },
    )


#: One reading over time: a value, or None where it was not measured.
traces = st.lists(st.none() | tenths, min_size=1, max_size=60)

optional_tenths = st.none() | tenths


@st.composite
def intervals(draw: st.DrawFn) -> Bound:
    low, high = draw(optional_tenths), draw(optional_tenths)
    if low is None and high is None:
        high = 60.0
    if low is not None and high is not None and low > high:
        low, high = high, low
    return bound(at_least=low, at_most=high)
