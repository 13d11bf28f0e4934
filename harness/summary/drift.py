"""Does a rig still measure what it measured: charts of one cell over passes, nights and weeks.

Pure. The first twenty values set the limits, and every value is held against them: limits that
move along with the values would drift with the rig. (``harness preflight`` asks another question,
whether the latest value is like the last ones.) Two charts look at the same values: each by itself
(individuals and moving range, ``harness.summary.usual``) and their moving average
(``harness.summary.ewma``). Fewer than twenty values give provisional limits, fewer than eight none.

The handbook's limits take centre and spread as known. From twenty values they are not, and one rig
in five would be called drifting within twenty more values without any drift (``scripts/promises``).
So limits are widened by what twenty values leave open: Student's quantile for the normal one, and
the error of the centre beside the spread. Where the handbook's own are wanted, they can be had.

Where a chart leaves its limits, what changed in the fingerprint since the drift seems to have begun
stands beside it. For the moving average that beginning is the last value at which it was on the
other side of its centre (K. Nishina, Quality and Reliability Engineering International 8 (1992)
129-134, from memory). That a change stands there does not prove that it was the cause.

Values are single passes unless nights or weeks are averaged first. Where the nights of the first
values differ by more than the passes within one (one-way analysis of variance), limits from
passes are too narrow for nights, and ``nights`` says so.

Nothing is corrected: a drift is shown, never taken out of a number.
"""

from __future__ import annotations

import enum
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.summary.changed import Changed, changed
from harness.summary.ewma import REACH, WEIGHT, Average, ewma
from harness.summary.one_way import OneWay, group, one_way
from harness.summary.series import Per, Series, nights
from harness.summary.usual import VALUES, Limits, individuals, widened

_ALPHA = 0.05


class Chart(enum.Enum):
    """Which chart left its limits."""

    INDIVIDUALS = "individuals"
    MOVING_RANGE = "moving-range"
    EWMA = "ewma"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """Between what values are in order.

    Args:
        low: Of single values; ``high`` above them.
        high: See above.
        leap: How far a value may lie from the one before.
        reach: How many standard deviations that is, of single values and of the average.
        told_by: Values that told the centre; None: it is taken as known.
    """

    low: float
    high: float
    leap: float
    reach: float
    told_by: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A chart outside its limits, over one value or several on the same side.

    A moving average that comes back within its limits without reaching its centre, and leaves
    them again, is one signal.

    Args:
        chart: Which.
        first: The first value outside, by its place; ``last`` the last.
        last: See above.
        high: Above the limits, or below.
        began: The last value that was still in order: the change lies after it; None where
            the series begins with it.
        share: How far the values outside (of the moving average: all since ``began``) lie from
            the centre on average, as a share of it; None where the centre is 0.
        changes: Changes of the fingerprint after ``began`` and up to ``first``.
    """

    chart: Chart
    first: int
    last: int
    high: bool
    began: int | None
    share: float | None
    changes: tuple[Changed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """One series and its charts.

    Args:
        series: What was measured.
        limits: Of single values, the handbook's; None: too few.
        bounds: What is judged by; None: too few.
        averages: The moving average after each value; empty where there are no limits.
        weight: Of the newest value in it.
        reach: Of its limits.
        signals: In order of their first value.
        changes: Every change of the fingerprint.
        nights: Between and within the nights that set the limits; None: one night, one pass a
            night, or values that are means already.
    """

    series: Series
    limits: Limits | None
    bounds: Bounds | None
    averages: tuple[Average, ...]
    weight: float
    reach: float
    signals: tuple[Signal, ...]
    changes: tuple[Changed, ...]
    nights: OneWay | None = None

    @property
    def nights_differ(self) -> bool:
        """Return whether nights differ by more than their passes do, tested at 5 %."""
        return self.nights is not None and self.nights.p is not None and self.nights.p < _ALPHA

    def outside(self, place: int) -> tuple[tuple[Chart, bool], ...]:
        """Return the charts that one value lies outside of, with whether it lies above."""
        bounds, value = self.bounds, self.series.values[place].value
        if bounds is None:
            return ()
        average = self.averages[place]
        step = value - self.series.values[place - 1].value if place else 0.0
        sides = (
            (Chart.INDIVIDUALS, _side(value, bounds.low, bounds.high)),
            (Chart.MOVING_RANGE, _side(step, -bounds.leap, bounds.leap)),
            (Chart.EWMA, _side(average.z, average.low, average.high)),
        )
        return tuple((chart, side > 0) for chart, side in sides if side)


def drift(
    series: Series,
    *,
    weight: float = WEIGHT,
    reach: float = REACH,
    first: int = VALUES,
    handbook: bool = False,
) -> Drift:
    """Return the charts of *series*.

    Args:
        series: What was measured.
        weight: Share of the newest value in the moving average.
        reach: Width of the limits, in standard deviations, as if these were known.
        first: How many values set the limits, the first ones.
        handbook: Take centre and spread as known, and widen nothing.
    """
    values = [each.value for each in series.values]
    changes = changed(series.values)
    limits = individuals(values[:first], last=first)
    if limits is None:
        return Drift(
            series=series, limits=None, bounds=None, averages=(), weight=weight, reach=reach,
            signals=(), changes=changes,
        )  # fmt: skip
    centre, bounds = limits.centre, _bounds(limits, reach=reach, handbook=handbook)
    averages = ewma(
        values, centre=centre, sd=limits.sd, weight=weight, reach=bounds.reach,
        told_by=bounds.told_by,
    )  # fmt: skip
    alone = [_side(value, bounds.low, bounds.high) for value in values]
    # A leap concerns the second of the two values.
    leaps = [0, *(_side(b - a, -bounds.leap, bounds.leap) for a, b in itertools.pairwise(values))]
    signals = [
        *(
            _signal(chart, values, centre, changes, stretch, stretch[0] - 1)
            for chart, sides in ((Chart.INDIVIDUALS, alone), (Chart.MOVING_RANGE, leaps))
            for stretch in _stretches(sides)
        ),
        *_of_averages(values, averages, centre, changes),
    ]
    return Drift(
        series=series,
        limits=limits,
        bounds=bounds,
        averages=averages,
        weight=weight,
        reach=reach,
        signals=tuple(sorted(signals, key=lambda each: (each.first, each.chart.value))),
        changes=changes,
        nights=_nights(series, first),
    )


def _bounds(limits: Limits, *, reach: float, handbook: bool) -> Bounds:
    if handbook:
        half = reach * limits.sd
        return Bounds(
            low=limits.centre - half, high=limits.centre + half, leap=limits.range_high,
            reach=reach, told_by=None,
        )  # fmt: skip
    wide = widened(reach, values=limits.values)
    half = wide * limits.sd * math.sqrt(1.0 + 1.0 / limits.values)
    # The moving range's limit as a distance of two values, widened in the same way.
    apart = limits.sd * math.sqrt(2.0)
    leap = apart * widened(limits.range_high / apart, values=limits.values) if apart else 0.0
    return Bounds(
        low=limits.centre - half, high=limits.centre + half, leap=leap, reach=wide,
        told_by=limits.values,
    )  # fmt: skip


def _nights(own: Series, first: int) -> OneWay | None:
    groups = [group([value.value for value in each]) for each in nights(own.values[:first])]
    if own.per is not Per.PASS or len(groups) < 2:
        return None
    found = one_way(groups)
    return found if found.df_within else None


def _of_averages(
    values: Sequence[float],
    averages: Sequence[Average],
    centre: float,
    changes: Sequence[Changed],
) -> list[Signal]:
    sides = [_side(each.z, each.low, each.high) for each in averages]
    found: dict[tuple[int, bool], tuple[int, int]] = {}
    for first, last, high in _stretches(sides):
        before = [
            place
            for place in range(first)
            if (averages[place].z <= centre if high else averages[place].z >= centre)
        ]
        began = before[-1] if before else -1
        found[began, high] = found.get((began, high), (first, last))[0], last
    return [
        _signal(Chart.EWMA, values, centre, changes, (first, last, high), began)
        for (began, high), (first, last) in found.items()
    ]


def _side(value: float, low: float, high: float) -> int:
    return (value > high) - (value < low)


def _stretches(sides: Sequence[int]) -> list[tuple[int, int, bool]]:
    """Return (first, last, high) of every stretch of values outside on one side."""
    found: list[tuple[int, int, bool]] = []
    for place, side in enumerate(sides):
        if not side:
            continue
        if place and sides[place - 1] == side:
            found[-1] = (found[-1][0], place, side > 0)
        else:
            found.append((place, place, side > 0))
    return found


def _signal(
    chart: Chart,
    values: Sequence[float],
    centre: float,
    changes: Sequence[Changed],
    stretch: tuple[int, int, bool],
    began: int,
) -> Signal:
    first, last, high = stretch
    own = values[began + 1 : last + 1] if chart is Chart.EWMA else values[first : last + 1]
    away = math.fsum(own) / len(own) - centre
    return Signal(
        chart=chart,
        first=first,
        last=last,
        high=high,
        began=began if began >= 0 else None,
        share=away / abs(centre) if centre else None,
        changes=tuple(each for each in changes if began < each.place <= first),
    )
