"""The table of readings: names, units, kinds of value, plausible bands.

Pure. ``thing.quantity``, one unit each, the same on every rig. It stands apart from the
readings themselves because a plan cannot be checked without it, and a check starts within a
few times the bare interpreter: see ``harness.values``.
"""

from __future__ import annotations

import enum
from types import MappingProxyType

from harness.values import Value

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Mapping


class Form(enum.Enum):
    """What kind of value a reading has."""

    NUMBER = "number"
    COUNT = "count"
    FLAG = "true/false"
    TEXT = "text"
    NAMES = "list of names"


class Quantity(Value):
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
            _q("cpu.pressure", "%", _N, "time that work waited for the processor", 0, 100),
            _q("memory.pressure", "%", _N, "time that work waited for memory", 0, 100),
            _q("disk.pressure", "%", _N, "time that work waited for a disk", 0, 100),
            _q("gpu.load", "%", _N, "time the card was at work", 0, 100),
            _q("cpu.clock", "MHz", _N, "processor clock, mean of the cores", 100, 20_000),
            _q("gpu.clock", "MHz", _N, "graphics clock", 1, 20_000),
            _q("gpu.memory.clock", "MHz", _N, "graphics memory clock", 1, 50_000),
            _q("cpu.temperature", "°C", _N, "processor package, hottest", 1, 120),
            _q("gpu.temperature", "°C", _N, "graphics chip", 1, 120),
            _q("gpu.memory.temperature", "°C", _N, "graphics memory", 1, 125),
            _q("gpu.temperature.slowdown", "°C", _N, "where the card slows itself down", 40, 130),
            _q("gpu.temperature.shutdown", "°C", _N, "where the card switches itself off", 40, 140),
            _q("room.temperature", "°C", _N, "air of the room", -20, 60),
            _q("gpu.power", "W", _N, "power the card draws", 0, 2_000),
            _q("gpu.power.limit", "W", _N, "power limit in force", 1, 2_000),
            _q("gpu.power.limit.default", "W", _N, "power limit as delivered", 1, 2_000),
            _q("gpu.power.limit.least", "W", _N, "lowest power limit it takes", 1, 2_000),
            _q("gpu.power.limit.most", "W", _N, "highest power limit it takes", 1, 2_000),
            _q("memory.available", "GiB", _N, "main memory a program could have", 0, 65_536),
            _q("disk.free", "GiB", _N, "free space where the store lies", 0, 1e9),
            _q("memory.speed", "MT/s", _N, "main memory transfer rate", 100, 40_000),
            _q("gpu.link.generation", "", _C, "PCI Express generation now", 1, 8),
            _q("gpu.link.width", "", _C, "PCI Express lanes now", 1, 32),
            _q("gpu.link.generation.card", "", _C, "highest the card is made for", 1, 8),
            _q("gpu.link.generation.system", "", _C, "highest of the card in this system", 1, 8),
            _q("gpu.link.width.system", "", _C, "most lanes of the card in this system", 1, 32),
            _q("gpu.link.replays", "", _C, "transfers that the link had to repeat", 0, 2**63),
            _q("gpu.link.errors", "", _C, "link errors since the look before", 0, 2**63),
            _q("cpu.limited.heat", "", _F, "processor clocks held down by heat"),
            _q("gpu.limited.heat", "", _F, "graphics clocks held down by heat"),
            _q("gpu.limited.power", "", _F, "graphics clocks held down by power"),
            _q("gpu.limited.other", "", _F, "graphics clocks held down by something else"),
            _q("power.source", "", _T, "mains or battery"),
            _q("gpu.driver", "", _T, "graphics driver version"),
            _q("gpu.model", "", _T, "name of the card"),
            _q("gpu.uuid", "", _T, "lasting name of this one card"),
            _q("gpu.bus", "", _T, "PCI address of the card"),
            _q("gpu.firmware", "", _T, "firmware of the card"),
            _q("os.build", "", _T, "operating system and kernel build"),
            _q("firmware.version", "", _T, "firmware of the board"),
            _q("clock.synchronised", "", _F, "the clock of the day is kept by a time service"),
            _q("screen.session", "", _T, "the session that owns the screen"),
            _q("disks", "", _L, "names of the disks"),
        )
    }
)
