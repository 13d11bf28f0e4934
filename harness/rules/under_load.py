"""Readings that are judged under load only: the link and the clocks, at their best in a pass.

Pure. A card at rest lets its link and its clocks fall, so what is read then says nothing: an
idle reading is shown and never judged. Of a pass, the best reading counts, among the samples
in which the card was at work where that can be read. A pass in which it never was is not
judged: a title that leaves the card alone is not moved by its link. What is expected is
what the level says, never a maximum that the card reports: that is the smaller of the card's
and the slot's, so that a crippled slot agrees with itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from harness.plan.document import Bound
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.crossings import ExpectNotMet
from harness.rig.readings import Reading, Sample
from harness.rules.limits import reading_of

#: From this share of its time on a part counts as loaded, % (common practice, no source).
LOADED = 50.0

#: What is judged under load, and the reading that tells the load.
UNDER_LOAD: Mapping[str, str] = MappingProxyType(
    {
        "gpu.link.generation": "gpu.load",
        "gpu.link.width": "gpu.load",
        "gpu.clock": "gpu.load",
        "gpu.memory.clock": "gpu.load",
        "cpu.clock": "cpu.load",
    }
)


def under_load(bounds: tuple[Bound, ...]) -> tuple[Bound, ...]:
    """Return those of *bounds* that only a pass can judge."""
    return tuple(bound for bound in bounds if bound.reading in UNDER_LOAD)


class ExpectWatch:
    """The best readings of one pass, for what its levels expect of them."""

    def __init__(self, expects: tuple[Bound, ...]) -> None:
        self._bests = [_Best(bound) for bound in expects]

    def feed(self, sample: Sample) -> None:
        """Take one sample."""
        for best in self._bests:
            best.feed(sample)

    def not_met(self) -> tuple[ExpectNotMet, ...]:
        """Return what is expected and was not reached, or never measured, in the pass."""
        found = (best.not_met() for best in self._bests)
        return tuple(each for each in found if each is not None)


class _Best:
    """One expected reading over one pass."""

    def __init__(self, bound: Bound) -> None:
        self._bound = bound
        self._load = UNDER_LOAD[bound.reading]
        self._load_read = False
        self._loaded = 0  #: samples under load, with a value or without
        self._measured = 0
        self._best: float | None = None
        self._why: str | None = None

    def feed(self, sample: Sample) -> None:
        found = sample.readings.get(self._load)
        load = found.value if found is not None else None
        if isinstance(load, float):
            if not self._load_read:  # what came before it is not known to be under load
                self._load_read = True
                self._loaded, self._measured, self._best = 0, 0, None
            if load < LOADED:
                return
        elif self._load_read:
            return
        self._loaded += 1
        reading = reading_of(sample, self._bound)
        if not isinstance(reading.value, float):
            self._why = reading.why
            return
        self._measured += 1
        self._best = reading.value if self._best is None else max(self._best, reading.value)

    def not_met(self) -> ExpectNotMet | None:
        if not self._loaded:
            return None
        bound = self._bound
        best = Reading(name=bound.reading, unit=bound.unit, value=self._best, why=self._why)
        if met(bound, best) is Met.MET:
            return None
        return ExpectNotMet(
            reading=bound.reading,
            bound=words(bound),
            best=self._best,
            unit=bound.unit,
            samples=self._measured,
            why=None if self._best is not None else self._why or "no answer",
        )
