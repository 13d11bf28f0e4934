"""Values that stand for none are common practice, no source, but for those named beside them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.plausible import BANDS, NOTHING, clock, why_implausible
from harness.rig.quantities import QUANTITIES, Form
from harness.rig.readings import measured

TEMPERATURES = tuple(name for name, each in QUANTITIES.items() if each.unit == "°C")


@pytest.mark.parametrize("name", TEMPERATURES)
@pytest.mark.parametrize("number", [255, 127.5, 127, -128, -273.15, 6553.5, 3276.7, 65535, 0])
def test_what_a_sensor_says_that_has_nothing_to_say_is_no_temperature(
    name: str, number: float
) -> None:
    reading = measured(name, number)
    assert reading.value is None
    assert reading.why is not None
    assert reading.why.startswith("implausible: ")
    assert reading.raw == str(number)


@pytest.mark.parametrize("number", [255, 127.5, -128, -273.15, 0])
def test_a_temperature_of_the_labs_own_is_held_against_the_same_list(number: float) -> None:
    assert why_implausible("lab.coolant", number, unit="°C") is not None
    assert why_implausible("lab.coolant", 31.5, unit="°C") is None


def test_a_reading_in_a_unit_of_the_labs_own_may_be_anything_but_no_number() -> None:
    assert why_implausible("lab.noise", -273.15, unit="dB") is None
    assert why_implausible("lab.noise", math.nan, unit="dB") is not None


def test_a_card_that_answers_with_all_bits_set_draws_no_such_power() -> None:
    # NVML gives milliwatts in an unsigned int: 0xFFFFFFFF of them.
    assert not measured("gpu.power", 0xFFFF_FFFF / 1000).measured
    assert measured("gpu.power", 0.0).measured


def test_nothing_at_all_is_a_load_but_no_clock() -> None:
    assert measured("cpu.load", 0.0).measured
    assert not measured("cpu.clock", 0.0).measured


@pytest.mark.parametrize(
    ("number", "unit", "mhz", "scaled"),
    [
        (4_650_000, "kHz", 4650.0, None),  # the kernel's document on cpufreq gives kHz
        (4650, "MHz", 4650.0, None),
        (4.65, "GHz", 4650.0, None),
        (4650, "kHz", 4650.0, "4650, said to be kHz, taken as MHz by its size"),
        (4.65, "MHz", 4650.0, "4.65, said to be MHz, taken as GHz by its size"),
        (2.4, None, 2400.0, "2.4, taken as GHz by its size"),
        (2400, None, 2400.0, "2400, taken as MHz by its size"),
        (2_400_000, None, 2400.0, "2400000, taken as kHz by its size"),
        (2_400_000_000, None, 2400.0, "2400000000, taken as Hz by its size"),
    ],
)
def test_a_clock_is_taken_at_its_word_or_by_its_size_and_then_says_so(
    number: float, unit: str | None, mhz: float, scaled: str | None
) -> None:
    found = clock(number, unit=unit)
    assert found is not None
    assert found.mhz == pytest.approx(mhz)
    assert found.scaled == scaled


@pytest.mark.parametrize("number", [0, -1, math.nan, math.inf, 50, 50_000, 1e12])
@pytest.mark.parametrize("unit", [None, "MHz"])
def test_a_number_that_no_unit_makes_a_clock_is_none(number: float, unit: str | None) -> None:
    assert clock(number, unit=unit) is None


@given(st.floats(min_value=100, max_value=20_000), st.sampled_from(["Hz", "kHz", "MHz", "GHz"]))
def test_a_clock_is_the_same_in_whatever_unit_it_comes(mhz: float, unit: str) -> None:
    number = mhz * {"Hz": 1e6, "kHz": 1e3, "MHz": 1.0, "GHz": 1e-3}[unit]
    told, untold = clock(number, unit=unit), clock(number, unit=None)
    for found in (told, untold):
        if found is None:  # rounding at the very edge of the band
            assert min(abs(mhz - 100), abs(mhz - 20_000)) < 1e-6
        else:
            assert found.mhz == pytest.approx(mhz)


@given(st.sampled_from(sorted(QUANTITIES)), st.floats())
def test_a_number_is_measured_exactly_where_nothing_is_held_against_it(
    name: str, number: float
) -> None:
    quantity = QUANTITIES[name]
    if quantity.form not in (Form.NUMBER, Form.COUNT):
        return
    low, high, nothing = BANDS[name]
    reading = measured(name, number)
    assert reading.measured == (low <= number <= high and number not in nothing)
    assert reading.measured == (why_implausible(name, number, unit=quantity.unit) is None)


def test_nothing_that_stands_for_no_value_is_missing_from_the_bands() -> None:
    for name, (_, _, nothing) in BANDS.items():
        assert nothing == NOTHING.get(QUANTITIES[name].unit, frozenset())
