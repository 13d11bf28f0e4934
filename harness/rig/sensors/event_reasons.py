"""What holds the clocks of a card down, out of the bits in which the NVIDIA driver tells it.

Pure. Bits and their names: the public header of NVML, API version 13 (``nvml.h``,
``nvmlClocksEventReason…`` and, for the bits of the hardware, ``nvmlClocksThrottleReason…``).
Bits that header does not know are kept, in hexadecimal.
"""

from __future__ import annotations

from dataclasses import dataclass

NAMES: tuple[tuple[int, str], ...] = (
    (0x1, "GpuIdle"),
    (0x2, "ApplicationsClocksSetting"),
    (0x4, "SwPowerCap"),
    (0x8, "HwSlowdown"),
    (0x10, "SyncBoost"),
    (0x20, "SwThermalSlowdown"),
    (0x40, "HwThermalSlowdown"),
    (0x80, "HwPowerBrakeSlowdown"),
    (0x100, "DisplayClockSetting"),
)
_KNOWN = sum(bit for bit, _ in NAMES)
_IDLE, _HW_SLOWDOWN = 0x1, 0x8
_HEAT = 0x20 | 0x40
_POWER = 0x4 | 0x80


@dataclass(frozen=True, slots=True, kw_only=True)
class Limited:
    """What holds the clocks down. An idle card is not held down, it rests.

    ``HwSlowdown`` comes along with heat or the power brake and is then told by these; alone
    (a change of the performance state, a fast trigger) it counts as something else. So do
    the bits that nobody knows: an unknown reason is still a reason.
    """

    heat: bool
    power: bool
    other: bool
    raw: str  #: the bits and their names, as the driver gave them


def names(bits: int) -> tuple[str, ...]:
    """Return the name of each bit that is set, lowest first, and last those without one.

    >>> names(0x244)
    ('SwPowerCap', 'HwThermalSlowdown', 'unknown:0x200')
    """
    known = tuple(name for bit, name in NAMES if bits & bit)
    rest = bits & ~_KNOWN
    return (*known, f"unknown:{rest:#x}") if rest else known


def limited(bits: int) -> Limited:
    """Return what *bits* say.

    >>> limited(0x68).heat, limited(0x68).other, limited(0x68).raw
    (True, False, '0x68 HwSlowdown SwThermalSlowdown HwThermalSlowdown')
    """
    told = _IDLE | _HEAT | _POWER
    if bits & (0x40 | 0x80):
        told |= _HW_SLOWDOWN
    return Limited(
        heat=bool(bits & _HEAT),
        power=bool(bits & _POWER),
        other=bool(bits & ~told),
        raw=" ".join((f"{bits:#x}", *names(bits))),
    )
