"""A scripted card that works: it warms up, is held down by its power limit, and cools.

Pure. What one real card showed (NVIDIA H100 80GB HBM3, 2026-11-25), in closed form:

- the temperature goes up by some 15 °C in the first second of a load, and down by as much in
  the first second after it; what is left is the heatsink's, and takes a minute;
- at its power limit the clock is another at each look, and the driver says why;
- in the first half second of a load it does not yet;
- for two seconds after a load the clock stays up, without a reason and without work;
- the link stays as it is, at rest too;
- a margin is of the unrounded temperature: a threshold told by it may be a degree lower.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import chain

from harness.rig.sensors.fake_nvml import SEEN_NUMBERS, SEEN_WORKS_TO_C, FakeCard
from harness.rig.sensors.nvml import Number, NvmlError
from harness.rig.thermal import Thermal

#: The chip and its memory, from 33 °C at rest.
CHIP = Thermal(room_c=33.0, hot_c=63.0, tau_s=18.0, step_c=15.0, step_s=0.5)
MEMORY = Thermal(room_c=34.0, hot_c=58.0, tau_s=18.0, step_c=7.0, step_s=1.0)

#: Clocks at the power limit, MHz, and what was drawn with each, mW.
_HELD_DOWN = (
    (1365, 698_310), (1380, 696_510), (1395, 697_970), (1350, 700_490), (1410, 699_150),
    (1365, 694_340), (1425, 699_010), (1305, 697_350), (1380, 698_920),
)  # fmt: skip
_TOP_MHZ, _STARTS_S, _LINGERS_S = 1980, 0.5, 2.0


@dataclass(slots=True, kw_only=True)
class WorkedCard(FakeCard):
    """A card that is at its power limit in each of ``loads``, and at rest between them.

    Args:
        now_s: The clock.
        loads: From when to when, on that clock, in order and apart from each other.
        chip: How the chip warms up and cools.
        memory: How its memory does.
    """

    now_s: Callable[[], float]
    loads: tuple[tuple[float, float], ...]
    chip: Thermal = CHIP
    memory: Thermal = MEMORY
    numbers: dict[Number, int | NvmlError] = field(default_factory=lambda: dict(SEEN_NUMBERS))
    works_to_c: int | None = SEEN_WORKS_TO_C

    def number(self, what: Number) -> int:
        """Return a number of this moment. Raises NvmlError."""
        at_s = self.now_s()
        match what:
            case Number.TEMPERATURE:
                return round(self._temperature_c(self.chip, at_s))
            case Number.MEMORY_TEMPERATURE:
                return round(self._temperature_c(self.memory, at_s))
            case Number.MARGIN if self.works_to_c is not None:
                return math.floor(self.works_to_c - self._temperature_c(self.chip, at_s))
            case Number.CLOCK | Number.POWER | Number.LOAD | Number.REASONS:
                clock, power, load, reasons = self._at_work(at_s)
                return {
                    Number.CLOCK: clock,
                    Number.POWER: power,
                    Number.LOAD: load,
                    Number.REASONS: reasons,
                }[what]
            case _:
                return FakeCard.number(self, what)

    def _at_work(self, at_s: float) -> tuple[int, int, int, int]:
        """Return clock, power, load and reasons of an instant."""
        for began_s, ended_s in reversed(self.loads):
            if at_s >= ended_s + _LINGERS_S or at_s < began_s:
                continue
            if at_s >= ended_s:
                return _TOP_MHZ, 139_620, 0, 0x0
            if at_s < began_s + _STARTS_S:
                return _TOP_MHZ, 87_590, 4, 0x0
            clock, power = _HELD_DOWN[int(at_s) % len(_HELD_DOWN)]
            return clock, power, 98, 0x4
        return (
            SEEN_NUMBERS[Number.CLOCK], SEEN_NUMBERS[Number.POWER], 0, SEEN_NUMBERS[Number.REASONS]
        )  # fmt: skip

    def _temperature_c(self, part: Thermal, at_s: float) -> float:
        value_c, chip_c, seen_s = part.room_c, 0.0, 0.0
        stretches = [(edge, n % 2 == 1) for n, edge in enumerate(chain(*self.loads))]
        for until_s, loaded in (*stretches, (at_s, len(stretches) % 2 == 1)):
            took_s = min(until_s, at_s) - seen_s
            if took_s <= 0:
                continue
            value_c, chip_c = (
                part.after(value_c, took_s, loaded=loaded, chip_c=chip_c),
                part.chip_after(value_c, took_s, loaded=loaded, chip_c=chip_c),
            )
            seen_s += took_s
        return value_c
