"""Samples of one pass -> one summary per reading.

Pure. A sample without a value takes no part in the mean, and is counted as missing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.rig.readings import Sample
from harness.rules.judgement import ReadingSummary


def summarise_readings(samples: Sequence[Sample]) -> tuple[ReadingSummary, ...]:
    """Return a summary of every numeric reading in *samples*, in order of first sight.

    The mean is the plain mean of the samples, which are taken at equal intervals.
    True/false readings are summarised as 1 and 0, so that their mean is a share; text and
    lists are left out.
    """
    values: dict[str, list[float]] = {}
    counts: dict[str, int] = {}
    units: dict[str, str] = {}
    whys: dict[str, str] = {}
    for sample in samples:
        for name, reading in sample.readings.items():
            if isinstance(reading.value, (str, tuple)):
                continue
            counts[name] = counts.get(name, 0) + 1
            units[name] = reading.unit
            if reading.value is not None:
                values.setdefault(name, []).append(float(reading.value))
            elif reading.why is not None:
                whys[name] = reading.why
    return tuple(
        _summary(name, units[name], count, values.get(name, []), whys.get(name))
        for name, count in counts.items()
    )


def _summary(
    name: str, unit: str, samples: int, values: list[float], why: str | None
) -> ReadingSummary:
    return ReadingSummary(
        name=name,
        unit=unit,
        samples=samples,
        measured=len(values),
        mean=math.fsum(values) / len(values) if values else None,
        least=min(values) if values else None,
        most=max(values) if values else None,
        why=None if values else why,
    )
