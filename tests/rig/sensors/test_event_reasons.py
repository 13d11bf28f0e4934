"""The bits of the driver, against the public header of NVML (API version 13, ``nvml.h``)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.sensors.event_reasons import NAMES, limited, names

#: nvml.h: nvmlClocksEventReason… and nvmlClocksThrottleReasonHw….
HEADER = {
    "GpuIdle": 0x1,
    "ApplicationsClocksSetting": 0x2,
    "SwPowerCap": 0x4,
    "HwSlowdown": 0x8,
    "SyncBoost": 0x10,
    "SwThermalSlowdown": 0x20,
    "HwThermalSlowdown": 0x40,
    "HwPowerBrakeSlowdown": 0x80,
    "DisplayClockSetting": 0x100,
}
#: Bits, and the names they must be told by: worked by hand from the header.
DECODED = {
    0x0: (),
    0x1: ("GpuIdle",),
    0x4: ("SwPowerCap",),
    0x44: ("SwPowerCap", "HwThermalSlowdown"),
    0x68: ("HwSlowdown", "SwThermalSlowdown", "HwThermalSlowdown"),
    0x200: ("unknown:0x200",),
}


def test_the_bits_are_those_of_the_header() -> None:
    assert {name: bit for bit, name in NAMES} == HEADER


def test_the_bits_and_names_are_those_of_the_binding() -> None:
    pynvml = pytest.importorskip("pynvml")
    for name, bit in HEADER.items():
        found = getattr(pynvml, f"nvmlClocksEventReason{name}", None)
        found = found if found is not None else getattr(pynvml, f"nvmlClocksThrottleReason{name}")
        assert found == bit


@pytest.mark.parametrize(("bits", "expected"), DECODED.items())
def test_bits_are_told_by_name(bits: int, expected: tuple[str, ...]) -> None:
    assert names(bits) == expected


def test_an_idle_card_is_not_held_down() -> None:
    found = limited(0x1)
    assert (found.heat, found.power, found.other) == (False, False, False)


@pytest.mark.parametrize(
    ("bits", "heat", "power", "other"),
    [
        (0x0, False, False, False),
        (0x20, True, False, False),
        (0x48, True, False, False),  # the hardware slowdown is told by its cause
        (0x88, False, True, False),
        (0x8, False, False, True),  # and counts by itself where it has none
        (0x28, True, False, True),
        (0x4, False, True, False),
        (0x44, True, True, False),
        (0x2, False, False, True),
        (0x10, False, False, True),
        (0x100, False, False, True),
        (0x201, False, False, True),  # a reason that nobody knows is still a reason
    ],
)
def test_reasons_are_heat_power_or_something_else(
    bits: int, heat: bool, power: bool, other: bool
) -> None:
    found = limited(bits)
    assert (found.heat, found.power, found.other) == (heat, power, other)


@given(st.integers(0, 2**64 - 1))
def test_no_bit_is_ever_dropped(bits: int) -> None:
    told = limited(bits).raw.split()
    assert int(told[0], 16) == bits
    known = sum(HEADER[name] for name in told[1:] if name in HEADER)
    unknown = sum(int(name.removeprefix("unknown:"), 16) for name in told[1:] if ":" in name)
    assert known | unknown == bits


@given(st.integers(0, 2**64 - 1))
def test_whatever_is_not_rest_is_told_by_one_of_the_three(bits: int) -> None:
    found = limited(bits)
    assert (found.heat or found.power or found.other) == bool(bits & ~0x1)
