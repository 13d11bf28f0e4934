"""Limits, judged sample by sample: in waits, in warm-ups and in passes alike.

Pure. Breached by a value outside, by a reading that was lost after it had been measured, and
by one never measured (a plan's ``needs`` refuse such a rig before the first pass; here
nothing may run unwatched).
"""

from __future__ import annotations

from harness.plan.document import Bound, Limit
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.crossings import LimitBreached
from harness.rig.readings import Reading, Sample, shown

#: Why there is no value where the bench did not even try to read it.
NOT_READ = "this rig has no such reading"


class LimitWatch:
    """Every limit in force, and whether its reading was measured before."""

    def __init__(self, limits: tuple[Limit, ...]) -> None:
        self._limits = limits
        self._measured: set[str] = set()

    def feed(self, sample: Sample, *, at_s: float) -> LimitBreached | None:
        """Take one sample; return the first limit that was passed, or None."""
        for limit in self._limits:
            reading = reading_of(sample, limit.bound)
            state = met(limit.bound, reading)
            if state is not Met.MET:
                return self._breach(limit.bound, reading, state, at_s)
            self._measured.add(limit.bound.reading)
        return None

    def _breach(self, bound: Bound, reading: Reading, state: Met, at_s: float) -> LimitBreached:
        value: float | None = None
        why = reading.why
        match state:
            case Met.NOT_MEASURED:
                why = why or f"cannot be held against it: {shown(reading)}"
                if bound.reading in self._measured:
                    why = f"lost ({why})"
            case Met.NOT_MET | Met.MET:
                if isinstance(reading.value, (str, tuple)):
                    why = f"it is {shown(reading)}"
                elif reading.value is not None:
                    value = float(reading.value)
        return LimitBreached(
            reading=bound.reading,
            unit=bound.unit,
            bound=words(bound),
            value=value,
            why=why,
            at_s=at_s,
        )


def reading_of(sample: Sample, bound: Bound) -> Reading:
    """Return the reading that *bound* speaks of, not measured where the rig has none."""
    found = sample.readings.get(bound.reading)
    if found is not None:
        return found
    return Reading(name=bound.reading, unit=bound.unit, why=NOT_READ)
