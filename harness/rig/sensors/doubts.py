"""What a reading's own past says against it: jumps that cannot be, values that are frozen.

Pure. It stands where all sources meet, so that every reading is doubted alike. What it doubts
is *not measured*, with why, and the raw value stays; one reading in doubt costs no other.

**Jump.** Heat takes time. A temperature that differs from the last one believed by more than
its largest step, times the seconds between (one at least), is implausible. The allowance grows
while nothing is believed, so that a true change is believed again after a few looks.

**Frozen.** A value that stayed the same to the last digit while the part it belongs to went
from rest to load, or back, tells nothing: a stuck sensor, or a clock that is only the base clock
on a label. What shows rest and load is the part's own witness, the first that is measured; both
must have lasted as long as the table says, and over three looks. Once the value moves it is
believed again at once.

*Limits of the rule.* It says nothing where no witness is measured, or while the load stays on
one side: a well cooled part under steady load may well show the same whole degree for an hour.
So a sensor that freezes in mid-pass is found out after the pass, and what it said before that
stands. A title that never loads 60 % of all cores is no witness for the processor. A clock
that was locked on purpose looks the same as a label and is doubted: the graphics clock, which
labs do lock, is therefore not in the table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from harness.rig.plausible import NOTHING, band, why_implausible
from harness.rig.readings import Reading

LEAST_LOOKS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """What shows whether a part is at rest or under load: at most, and at least, in its unit.

    ``large`` is the same of a part that was never seen as low as ``rest``.
    """

    reading: str
    rest: float
    load: float
    large: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What is held against one quantity.

    ``step`` is the largest change in a second, in its unit; None: it may be anything at once.
    After ``follows_s`` of rest and of load, as one of ``witnesses`` has it, the value must
    have moved.
    """

    step: float | None = None
    witnesses: tuple[Witness, ...] = ()
    follows_s: float = 0.0


_CPU = (Witness(reading="cpu.load", rest=20.0, load=60.0),)
_LOAD = Witness(reading="gpu.load", rest=20.0, load=60.0)
#: Power tells more than load, which counts the time at work at whatever clock. A large card
#: takes 72 to 79 W at rest (seen on an H100), and so is never below 60.
_CARD = (
    Witness(reading="gpu.power", rest=60.0, load=120.0, large=(100.0, 250.0)),
    _LOAD,
)

#: Common practice, no source. A step is twice and more of what a die, or the air, can do.
DOUBTS: Mapping[str, Doubt] = MappingProxyType(
    {
        "cpu.temperature": Doubt(step=60.0, witnesses=_CPU, follows_s=5.0),
        "gpu.temperature": Doubt(step=40.0, witnesses=_CARD, follows_s=10.0),
        "gpu.memory.temperature": Doubt(step=30.0, witnesses=_CARD, follows_s=30.0),
        "room.temperature": Doubt(step=5.0),
        "cpu.clock": Doubt(witnesses=_CPU, follows_s=5.0),
        "gpu.power": Doubt(witnesses=(_LOAD,), follows_s=5.0),
    }
)
_NONE = Doubt()


class Doubts:
    """Doubts the readings of one rig, look by look. It holds their past."""

    def __init__(self) -> None:
        self._pasts: dict[str, _Past] = {}

    def judge(self, readings: dict[str, Reading], *, at_s: float) -> None:
        """Replace in *readings* what cannot be believed.

        Args:
            readings: Taken together.
            at_s: When, on the steady clock; never earlier than the look before.
        """
        for name, reading in readings.items():
            value = reading.value
            if not isinstance(value, float):
                if value.__class__ is not int:
                    continue  # also a flag, which isinstance would take for a number
                value = float(value)
            past = self._pasts.get(name)
            if past is None:
                past = self._pasts[name] = _Past(name, reading.unit)
            if past.plain and past.low <= value <= past.high and value not in past.nothing:
                continue
            why = past.look(value, at_s, readings)
            if why is not None:
                raw = reading.raw if reading.raw is not None else f"{value:.10g}"
                readings[name] = replace(reading, value=None, why=why, raw=raw)


class _Past:
    """What one reading was before."""

    def __init__(self, name: str, unit: str) -> None:
        self._name, self._unit = name, unit
        self._doubt = DOUBTS.get(name, _NONE)
        self.plain = self._doubt is _NONE  #: nothing but the band is held against it
        self.low, self.high = band(name, unit=unit)
        self.nothing = NOTHING.get(unit, frozenset())
        self._believed: float | None = None
        self._believed_s = 0.0
        self._value: float | None = None
        self._since_s = 0.0
        self._rest, self._load, self._full = _Row(), _Row(), _Row()
        self._small = False  #: whether it was seen below the rest of its witness

    def look(self, value: float, at_s: float, readings: Mapping[str, Reading]) -> str | None:
        """Return why *value* is not to be believed; None where it is."""
        if not self.low <= value <= self.high or value in self.nothing:
            return why_implausible(self._name, value, unit=self._unit)
        why = self._jumped(value, at_s)
        if why is None and self._doubt.witnesses:
            why = self._frozen(value, at_s, readings)
        if why is None:
            self._believed, self._believed_s = value, at_s
        return why

    def _jumped(self, value: float, at_s: float) -> str | None:
        step, before = self._doubt.step, self._believed
        if step is None or before is None or abs(value - before) <= step:
            return None
        after_s = at_s - self._believed_s
        if abs(value - before) <= step * after_s:
            return None
        return (
            f"implausible: from {before:g} to {value:g} {self._unit} in {after_s:.1f} s, "
            f"more than {step:g} {self._unit} a second"
        )

    def _frozen(self, value: float, at_s: float, readings: Mapping[str, Reading]) -> str | None:
        if value != self._value:
            self._value, self._since_s = value, at_s
            self._rest, self._load, self._full = _Row(), _Row(), _Row()
        load = self._load
        for witness in self._doubt.witnesses:
            found = readings.get(witness.reading)
            if found is not None and isinstance(found.value, float):
                load = self._witnessed(witness, found.value, at_s)
                break
        follows_s = self._doubt.follows_s
        if self._rest.longest_s < follows_s or load.longest_s < follows_s:
            return None
        names = " or ".join(witness.reading for witness in self._doubt.witnesses)
        return (
            f"frozen: {value:.10g} {self._unit} for {at_s - self._since_s:.0f} s, "
            f"the same at rest and under load ({names})"
        )

    def _witnessed(self, witness: Witness, value: float, at_s: float) -> _Row:
        """Take what a witness says; return the row of load that counts for this part."""
        self._load.look(at_s, value >= witness.load)
        if witness.large is None:
            self._rest.look(at_s, value <= witness.rest)
            return self._load
        if value <= witness.rest and not self._small:
            self._small, self._rest = True, _Row()
        rest, load = witness.large
        self._full.look(at_s, value >= load)
        self._rest.look(at_s, value <= (witness.rest if self._small else rest))
        return self._load if self._small else self._full


class _Row:
    """The longest unbroken row of looks at which something held."""

    __slots__ = ("_count", "_start_s", "longest_s")

    def __init__(self) -> None:
        self._count = 0
        self._start_s = 0.0
        self.longest_s = 0.0

    def look(self, at_s: float, holds: bool) -> None:
        if not holds:
            self._count = 0
            return
        if self._count == 0:
            self._start_s = at_s
        self._count += 1
        if self._count >= LEAST_LOOKS:
            self.longest_s = max(self.longest_s, at_s - self._start_s)
