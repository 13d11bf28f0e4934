"""How well the forecasts of gates came true over a run.

Pure. Small on purpose: counts, and medians of how far off the forecasts were. The forecasts of
one wait are not independent of each other, so no share of them is given an interval.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass

from harness.rig.crossings import Forecast, Foretold
from harness.run import records as r


@dataclass(frozen=True, slots=True, kw_only=True)
class Borne:
    """The forecasts of a run against what came true.

    ``off_s`` is the median of how far the bound was reached from the instant foretold,
    ``off_c`` that of the temperature at the end of the wait; None: there is nothing to tell.
    """

    waits: int  #: of one gate each, of which anything was foretold
    forecasts: int
    instants: int  #: forecasts that named an instant
    reached: int  #: of those: the bound was reached
    within: int  #: of those: within the interval of 99 %
    off_s: float | None
    values_within: int  #: forecasts whose interval holds the temperature at the end
    off_c: float | None


def borne_out(records: Iterable[r.Record]) -> Borne:
    """Return how well the forecasts that *records* of one run keep came true."""
    found = [
        each
        for record in records
        if isinstance(record, r.PassStarted | r.PassSkipped | r.RigHeld)
        for each in record.foretold
    ]
    pairs = [(each, forecast) for each in found for forecast in each.forecasts]
    named = [(each, forecast) for each, forecast in pairs if forecast.reaches_s is not None]
    reached = [(each, forecast) for each, forecast in named if each.reached_s is not None]
    off_s = [
        abs(forecast.reaches_s - each.reached_s)
        for each, forecast in reached
        if forecast.reaches_s is not None and each.reached_s is not None
    ]
    off_c = [abs(forecast.end_c - each.value) for each, forecast in pairs]
    return Borne(
        waits=len(found),
        forecasts=len(pairs),
        instants=len(named),
        reached=len(reached),
        within=sum(_within(each, forecast) for each, forecast in reached),
        off_s=statistics.median(off_s) if off_s else None,
        values_within=sum(f.low_c <= each.value <= f.high_c for each, f in pairs),
        off_c=statistics.median(off_c) if off_c else None,
    )


def _within(found: Foretold, forecast: Forecast) -> bool:
    at_s = found.reached_s
    if at_s is None or forecast.earliest_s is None or at_s < forecast.earliest_s:
        return False
    return forecast.latest_s is None or at_s <= forecast.latest_s
