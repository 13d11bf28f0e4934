"""Whether a number can be true by itself: bands, values that stand for none, units by size.

Pure. The bands are those of ``harness.rig.quantities``; the lab's own readings have the bands
of their unit. What only a reading's past can tell (jumps, frozen values) is in
``harness.rig.sensors.doubts``.

The lists are common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from harness.rig.quantities import QUANTITIES

INFINITE = float("inf")

# Of a byte in degrees, halves and sixteenths; of a word in degrees, tenths and thousandths.
_ALL_BITS = (127.0, 127.5, 127.9375, 255.0, 255.5, 65535.0, 6553.5, 65.535, 3276.7, 4294967.295)
_SIGNED = (-127.0, -128.0, -255.0, -3276.8, -32768.0, 2147483.647, -2147483.648)
_ABSOLUTE_ZERO = (-273.0, -273.1, -273.15, -273.2)

#: What sensors say that have nothing to say, by unit. Registers with all
#: bits set, the ends of signed ones, absolute zero, and 0, which is what one holds that nobody
#: filled in.
NOTHING: Mapping[str, frozenset[float]] = MappingProxyType(
    {
        "°C": frozenset((0.0, -1.0, *_ALL_BITS, *_SIGNED, *_ABSOLUTE_ZERO)),
        "W": frozenset((6553.5, 65535.0, 4294967.295, 4294967295.0, 4294.967295)),
        "MHz": frozenset((0.0, 65535.0, 4294967.295, 4294967295.0, -1.0)),
        "%": frozenset((255.0, 65535.0, 4294967295.0, -1.0)),
        "MT/s": frozenset((0.0, 65535.0)),
    }
)

#: Bands of the lab's own readings, by unit. Wider than any quantity's of ours.
_OF_UNIT: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "°C": (-100.0, 250.0),
        "W": (0.0, 10_000.0),
        "%": (0.0, 100.0),
        "MHz": (0.001, 100_000.0),
        "MT/s": (1.0, 100_000.0),
        "GiB": (0.0, 1e9),
    }
)

#: A clock that comes without a unit lies between these, MHz.
_CLOCK_LOW_MHZ, _CLOCK_HIGH_MHZ = 100.0, 20_000.0
_MHZ_PER = MappingProxyType({"Hz": 1e-6, "kHz": 1e-3, "MHz": 1.0, "GHz": 1e3})


def band(name: str, *, unit: str) -> tuple[float, float]:
    """Return the least and the greatest value that *name* can have, both included."""
    quantity = QUANTITIES.get(name)
    if quantity is None:
        return _OF_UNIT.get(unit, (-INFINITE, INFINITE))
    low = -INFINITE if quantity.low is None else quantity.low
    return low, INFINITE if quantity.high is None else quantity.high


#: Of every quantity of ours: least, greatest, and what stands for nothing in its unit.
BANDS: Mapping[str, tuple[float, float, frozenset[float]]] = {
    name: (*band(name, unit=quantity.unit), NOTHING.get(quantity.unit, frozenset()))
    for name, quantity in QUANTITIES.items()
}


def why_implausible(name: str, number: float, *, unit: str) -> str | None:
    """Return why *number* cannot be the value of *name*; None where it can.

    Args:
        name: A reading, ours or the lab's own.
        number: In *unit*. NaN is never plausible.
        unit: The reading's unit.

    >>> why_implausible("cpu.temperature", 130.0, unit="°C")
    'implausible: outside 1 to 120 °C'
    >>> why_implausible("room.temperature", 0.0, unit="°C")
    'implausible: 0 °C is what a sensor says that has nothing to say'
    """
    if number in NOTHING.get(unit, ()):
        return f"implausible: {number:.10g} {unit} is what a sensor says that has nothing to say"
    low, high = band(name, unit=unit)
    if low <= number <= high:
        return None
    return f"implausible: outside {low:g} to {high:g} {unit}".rstrip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A clock in MHz, and how it was understood, where it was not plainly in the unit told."""

    mhz: float
    scaled: str | None


def clock(number: float, *, unit: str | None) -> Clock | None:
    """Return a clock in MHz; None where no unit makes it one.

    A number that is true in the unit told is taken at its word. Otherwise the unit is read off
    its size, since no processor or graphics clock lies outside 100 MHz to 20 GHz while a
    thousandfold lies between the units, and ``scaled`` says so: the reading keeps it.

    Args:
        number: What the source said.
        unit: ``Hz``, ``kHz``, ``MHz`` or ``GHz`` where the source tells, else None.

    >>> clock(4_650_000, unit="kHz")
    Clock(mhz=4650.0, scaled=None)
    >>> clock(4.65, unit="MHz")
    Clock(mhz=4650.0, scaled='4.65, said to be MHz, taken as GHz by its size')
    >>> clock(0, unit="MHz") is None
    True
    """
    if unit is not None and _is_clock(number * _MHZ_PER[unit]):
        return Clock(mhz=number * _MHZ_PER[unit], scaled=None)
    for each, mhz in _MHZ_PER.items():
        if _is_clock(number * mhz):
            told = f", said to be {unit}" if unit is not None else ""
            scaled = f"{number:.10g}{told}, taken as {each} by its size"
            return Clock(mhz=number * mhz, scaled=scaled)
    return None


def _is_clock(mhz: float) -> bool:
    return _CLOCK_LOW_MHZ <= mhz <= _CLOCK_HIGH_MHZ
