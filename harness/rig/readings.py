"""What can be read on a rig: names, units, plausible values; and one reading.

Pure. ``thing.quantity``, one unit each, the same on every rig. A value that could not be
read, or that cannot be true, is *not measured*: it has a reason and no number, and it is
neither met nor not met.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

Value = float | bool | str | tuple[str, ...]


class Form(enum.Enum):
    """What kind of value a reading has."""

    NUMBER = "number"
    COUNT = "count"
    FLAG = "true/false"
    TEXT = "text"
    NAMES = "list of names"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One line of the table of readings.

    ``low`` and ``high`` bound what can be true (bounds included); a number outside is
    kept raw and counts as not measured.
    """

    name: str
    unit: str
    form: Form
    about: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One value read, or why there is none.

    Exactly one of ``value`` and ``why`` is given. ``raw`` is what the source said, where
    that differs.
    """

    name: str
    unit: str
    value: Value | None = None
    why: str | None = None
    raw: str | None = None

    @property
    def measured(self) -> bool:
        """Return whether there is a value."""
        return self.value is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """Readings taken together.

    ``at_s`` is the instant on the bench's steady clock, ``end_s`` when the last was read.
    """

    at_s: float
    end_s: float
    readings: Mapping[str, Reading]


def _q(
    name: str,
    unit: str,
    form: Form,
    about: str,
    low: float | None = None,
    high: float | None = None,
) -> Quantity:
    return Quantity(name=name, unit=unit, form=form, about=about, low=low, high=high)


_N, _C, _F, _T, _L = Form.NUMBER, Form.COUNT, Form.FLAG, Form.TEXT, Form.NAMES

#: Every reading that a plan may name, by name. The plausible bands are common practice, no source.
QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        quantity.name: quantity
        for quantity in (
            _q("cpu.load", "%", _N, "processor time in use, all cores", 0, 100),
            _q("cpu.load.others", "%", _N, "of it, by neither the title nor the harness", 0, 100),
            _q("disk.busy", "%", _N, "time the busiest disk was at work", 0, 100),
            _q("gpu.load", "%", _N, "time the card was at work", 0, 100),
            _q("cpu.clock", "MHz", _N, "processor clock, mean of the cores", 1, 20_000),
            _q("gpu.clock", "MHz", _N, "graphics clock", 1, 20_000),
            _q("gpu.memory.clock", "MHz", _N, "graphics memory clock", 1, 50_000),
            _q("cpu.temperature", "°C", _N, "processor package, hottest", 1, 120),
            _q("gpu.temperature", "°C", _N, "graphics chip", 1, 120),
            _q("gpu.memory.temperature", "°C", _N, "graphics memory", 1, 125),
            _q("room.temperature", "°C", _N, "air of the room", -20, 60),
            _q("gpu.power", "W", _N, "power the card draws", 0, 2_000),
            _q("gpu.power.limit", "W", _N, "power limit in force", 1, 2_000),
            _q("memory.available", "GiB", _N, "main memory a program could have", 0, 65_536),
            _q("disk.free", "GiB", _N, "free space where the store lies", 0, 1e9),
            _q("memory.speed", "MT/s", _N, "main memory transfer rate", 100, 40_000),
            _q("gpu.link.generation", "", _C, "PCI Express generation now", 1, 8),
            _q("gpu.link.width", "", _C, "PCI Express lanes now", 1, 32),
            _q("gpu.link.errors", "", _C, "link errors since the driver was loaded", 0, 2**63),
            _q("cpu.limited.heat", "", _F, "processor clocks held down by heat"),
            _q("gpu.limited.heat", "", _F, "graphics clocks held down by heat"),
            _q("gpu.limited.power", "", _F, "graphics clocks held down by power"),
            _q("gpu.limited.other", "", _F, "graphics clocks held down by something else"),
            _q("power.source", "", _T, "mains or battery"),
            _q("gpu.driver", "", _T, "graphics driver version"),
            _q("os.build", "", _T, "operating system and kernel build"),
            _q("firmware.version", "", _T, "firmware of the board"),
            _q("clock.synchronised", "", _F, "the clock of the day is kept by a time service"),
            _q("screen.session", "", _T, "the session that owns the screen"),
            _q("disks", "", _L, "names of the disks"),
        )
    }
)


def not_measured(name: str, why: str, *, raw: str | None = None) -> Reading:
    """Return the reading *name* without a value, and why. KeyError: no such reading."""
    return Reading(name=name, unit=QUANTITIES[name].unit, why=why, raw=raw)


def measured(name: str, value: Value) -> Reading:
    """Return the reading *name*, held against its plausible band.

    A number outside the band, or none at all (NaN), is not measured; the raw number stays.
    KeyError: no such reading.
    """
    quantity = QUANTITIES[name]
    if quantity.form in (Form.NUMBER, Form.COUNT) and not isinstance(value, (str, tuple)):
        number = float(value)
        low = quantity.low if quantity.low is not None else -float("inf")
        high = quantity.high if quantity.high is not None else float("inf")
        if not low <= number <= high:
            return not_measured(
                name,
                f"implausible: outside {low:g} to {high:g} {quantity.unit}".rstrip(),
                raw=str(value),
            )
        return Reading(name=name, unit=quantity.unit, value=number)
    return Reading(name=name, unit=quantity.unit, value=value)


def shown(reading: Reading) -> str:
    """Return the reading's value with its unit, or that it is not measured and why.

    >>> shown(measured("gpu.temperature", 61.0))
    '61 °C'
    """
    if reading.value is None:
        raw = f" ({reading.raw})" if reading.raw is not None else ""
        return f"not measured: {reading.why}{raw}"
    if isinstance(reading.value, bool):
        return "true" if reading.value else "false"
    if isinstance(reading.value, float):
        return f"{reading.value:.6g} {reading.unit}".rstrip()
    if isinstance(reading.value, tuple):
        return ", ".join(reading.value)
    return reading.value
