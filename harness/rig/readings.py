"""One reading, and several taken together.

Pure. What can be read, in which unit, is the table ``harness.rig.quantities``. A value that
could not be read, or that cannot be true, is *not measured*: it has a reason and no number,
and it is neither met nor not met.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.rig.plausible import BANDS, why_implausible
from harness.rig.quantities import QUANTITIES, Form

Value = float | bool | str | tuple[str, ...]


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


def not_measured(name: str, why: str, *, raw: str | None = None) -> Reading:
    """Return the reading *name* without a value, and why. KeyError: no such reading."""
    return Reading(name=name, unit=QUANTITIES[name].unit, why=why, raw=raw)


def measured(name: str, value: Value, *, raw: str | None = None) -> Reading:
    """Return the reading *name*, held against its plausible band.

    A number outside the band, or none at all (NaN), is not measured; the raw number stays.
    *raw* is what the source said, where that is more than the value. KeyError: no such reading.
    """
    quantity = QUANTITIES[name]
    if quantity.form in (Form.NUMBER, Form.COUNT) and not isinstance(value, (str, tuple)):
        number = float(value)
        low, high, nothing = BANDS[name]
        if not low <= number <= high or number in nothing:
            why = why_implausible(name, number, unit=quantity.unit) or ""
            return not_measured(name, why, raw=str(value))
        return Reading(name=name, unit=quantity.unit, value=number, raw=raw)
    return Reading(name=name, unit=quantity.unit, value=value, raw=raw)


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
