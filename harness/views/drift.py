"""Drift as a person reads it: a chart in plain characters, what left its limits, what changed.

Pure.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence

from harness.summary.apart import Apart
from harness.summary.changed import Changed
from harness.summary.drift import Bounds, Chart, Drift, Signal
from harness.summary.series import Per
from harness.summary.usual import LEAST, VALUES
from harness.views.signs import apart_line

#: Columns of the chart, odd, so that the centre has one; and how far it reaches, in limits.
_COLUMNS = 41
_REACH = 1.5

_CHARTS = {
    Chart.INDIVIDUALS: "value",
    Chart.MOVING_RANGE: "range",
    Chart.EWMA: "moving average",
}


def as_text(
    found: Sequence[Drift], *, apart: Mapping[str, Sequence[Apart]], last: int | None, width: int
) -> Iterator[str]:
    """Yield the lines of all series.

    Args:
        found: The series and their charts, at least one.
        apart: By run, the reference passes that disagree.
        last: How many values of each are drawn, the last ones; None: all.
        width: Columns to fit in.
    """
    for line in _lines(found, apart, last):
        if len(line) <= width or line.startswith("\0"):
            yield line.removeprefix("\0").rstrip()
            continue
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        yield from textwrap.wrap(
            line, max(60, width), subsequent_indent=indent, break_long_words=False,
            break_on_hyphens=False,
        )  # fmt: skip


def _lines(
    found: Sequence[Drift], apart: Mapping[str, Sequence[Apart]], last: int | None
) -> Iterator[str]:
    names = [_name(each) for each in found]
    several = {name for name in names if names.count(name) > 1}
    for each, name in zip(found, names, strict=True):
        # What tells two charts of one cell apart: nothing else is left.
        other = f"; procedure {each.series.procedure[:8]}, {each.series.definition}"
        yield name + other * (name in several)
        yield from _series(each, last)
        yield ""
    if several:
        yield (
            "another procedure or definition measures something else: its values have a chart "
            "of their own"
        )
    lines = [f"{run}: {apart_line(one)}" for run, own in apart.items() for one in own]
    if lines:
        yield "cells between two reference passes that disagree:"
        yield from (f"  {line}" for line in lines)
        yield ""
    yield from _legend(found)


def _name(each: Drift) -> str:
    own = each.series
    kind = "reference passes" if own.reference else "counted passes"
    return f"{own.cell.label} on {own.rig}: {own.figure} of {kind}, {own.unit or 'no unit'}"


def _series(each: Drift, last: int | None) -> Iterator[str]:
    own = each.series
    runs = len({value.run for value in own.values})
    over = f"{own.values[0].at:%Y-%m-%d %H:%M} to {own.values[-1].at:%Y-%m-%d %H:%M} UTC"
    per = (
        ""
        if own.per is Per.PASS
        else f" (each the mean of a {own.per.value} under one fingerprint)"
    )
    left = ""
    if own.left_out:
        passes = "kept pass" if own.left_out == 1 else "kept passes"
        left = f", {own.left_out} {passes} without a value or marked left out"
    yield f"  {_count(len(own.values), 'value')}{per} of {_count(runs, 'run')}, {over}{left}"
    limits, bounds = each.limits, each.bounds
    if limits is None or bounds is None:
        yield f"  no limits: they are told from {LEAST} values on"
        yield from (f"  {line}" for line in _without_limits(each, last))
        yield from (f"  {_change(one, each)}" for one in each.changes)
        return
    sure = f"PROVISIONAL: fewer than {VALUES} values; " if limits.provisional else ""
    yield (
        f"  {sure}limits from the first {limits.values} values: centre {limits.centre:.5g}, "
        f"single values {bounds.low:.5g} to {bounds.high:.5g}, from one to the next up to "
        f"{bounds.leap:.3g}"
    )
    if each.nights_differ and each.nights is not None:
        yield (
            f"  the nights that set the limits differ by more than their passes do (F "
            f"{each.nights.f:.3g}, p = {each.nights.p:.2g}): for nights these limits are too "
            "narrow, see --per night"
        )
    yield from _chart(each, limits.centre, bounds, last)
    if not each.signals:
        yield "  in limits: neither a value nor the moving average lies outside"
    yield from (f"  {_signal(one, each)}" for one in each.signals)
    yield from (f"  {_change(one, each)}" for one in each.changes)


def _chart(each: Drift, centre: float, bounds: Bounds, last: int | None) -> Iterator[str]:
    values = each.series.values
    first = 0 if last is None else max(0, len(values) - last)
    size = max(3, *(len(value.run) for value in values))
    if first:
        yield f"  the last {len(values) - first} values; --all shows {first} more"
    changed = {one.place: one for one in each.changes}
    head = f"{'n':>4}  {'began, UTC':<16}  {'run':<{size}}  {'value':>8}  {'average':>8}"
    yield f"\0  {head}  {_scale(centre, bounds)}"
    for place in range(first, len(values)):
        if place in changed:
            yield f"\0        -- {_fields(changed[place])}"
        value, average = values[place], each.averages[place]
        row = (
            f"{place + 1:>4}  {value.at:%Y-%m-%d %H:%M}  {value.run:<{size}}  {value.value:>8.5g}"
            f"  {average.z:>8.5g}"
        )
        yield f"\0  {row}  {_strip(value.value, average.z, centre, bounds)}  " + ", ".join(
            _outside(chart, high=high) for chart, high in each.outside(place)
        )


def _outside(chart: Chart, *, high: bool) -> str:
    leap = chart is Chart.MOVING_RANGE
    return f"{_CHARTS[chart]} {'leap' if leap else 'high' if high else 'low'}"


def _without_limits(each: Drift, last: int | None) -> Iterator[str]:
    values = each.series.values if last is None else each.series.values[-last:]
    for value in values:
        yield f"{value.at:%Y-%m-%d %H:%M}  {value.run}  {value.value:.5g} {each.series.unit}"


def _column(value: float, centre: float, bounds: Bounds) -> int:
    """Return the column of *value*; beyond the chart, its edge."""
    half = bounds.high - centre
    share = (value - centre) / half if half else float((value > centre) - (value < centre))
    middle = _COLUMNS // 2
    return min(_COLUMNS - 1, max(0, middle + round(share / _REACH * middle)))


def _strip(value: float, average: float, centre: float, bounds: Bounds) -> str:
    marks = [" "] * _COLUMNS
    for at in (bounds.low, bounds.high):
        marks[_column(at, centre, bounds)] = "|"
    marks[_column(centre, centre, bounds)] = ":"
    marks[_column(average, centre, bounds)] = "~"
    inside = bounds.low <= value <= bounds.high
    marks[_column(value, centre, bounds)] = "o" if inside else "X"
    return "".join(marks)


def _scale(centre: float, bounds: Bounds) -> str:
    marks = list(" " * _COLUMNS)
    for at in (bounds.low, centre, bounds.high):
        text = f"{at:.5g}"
        start = min(max(0, _column(at, centre, bounds) - len(text) // 2), _COLUMNS - len(text))
        marks[start : start + len(text)] = text
    return "".join(marks)


def _signal(one: Signal, each: Drift) -> str:
    values = each.series.values
    first = values[one.first]
    place = f"value {one.first + 1}" + (f" to {one.last + 1}" if one.last > one.first else "")
    where = f"{place} (from {first.at:%Y-%m-%d %H:%M} UTC, run {first.run})"
    if one.chart is Chart.MOVING_RANGE:
        text = f"LEAP {'up' if one.high else 'down'} at {where}"
    else:
        side = "above" if one.high else "below"
        text = f"OUT OF LIMITS: the {_CHARTS[one.chart]} lies {side} them at {where}"
    if one.chart is Chart.EWMA and one.share is not None:
        since = 1 if one.began is None else one.began + 2
        text += f"; values {since} to {one.last + 1} lie {100 * one.share:+.2f} % from the centre"
    elif one.chart is Chart.INDIVIDUALS and one.share is not None:
        text += f", {100 * one.share:+.2f} % from the centre"
    if any(_covers(other, one) for other in each.signals):
        return text  # where it comes from stands with the moving average
    if one.changes:
        named = "; ".join(_fields(change) for change in one.changes)
        return f"{text}; changed in between: {named}"
    return f"{text}; nothing that the fingerprint records changed in between"


def _covers(average: Signal, one: Signal) -> bool:
    return (
        average.chart is Chart.EWMA
        and one.chart is Chart.INDIVIDUALS
        and average.high is one.high
        and average.first <= one.first <= average.last
    )


def _change(one: Changed, each: Drift) -> str:
    at = each.series.values[one.place].at
    text = f"changed at value {one.place + 1} ({at:%Y-%m-%d %H:%M} UTC): {_fields(one)}"
    if one.step is None:
        return text
    step = f"{100 * one.step:+.2f} % (n {one.before} and {one.after})"
    if one.low is None or one.high is None:
        return f"{text}: {step}, one value a side tells no interval"
    interval = f"95 % interval {100 * one.low:+.2f} to {100 * one.high:+.2f} %"
    return f"{text}: {step}, {interval}{'' if one.told else ': no step told'}"


def _fields(one: Changed) -> str:
    return ", ".join(f"{name} {was} -> {now}" for name, was, now in one.fields)


def _legend(found: Sequence[Drift]) -> Iterator[str]:
    names = dict.fromkeys((each.series.figure, each.series.definition) for each in found)
    yield from (f"{name} ({definition})" for name, definition in names)
    if any(each.limits is not None for each in found):
        yield "o in limits, X outside, ~ moving average, | limits of single values, : centre"
        yield (
            "limits: from mean and mean moving range of the first values (individuals and moving "
            "range chart); they stay, so that they do not drift along"
        )
        yield (
            f"moving average: weight {found[0].weight:g} of the newest value (EWMA chart), its "
            "limits narrower at the start"
        )
        known = all(each.bounds is None or each.bounds.told_by is None for each in found)
        yield (
            f"{found[0].reach:g} standard deviations, centre and spread taken as known: from "
            "twenty values one rig in five leaves them within twenty more without any drift"
            if known
            else f"{found[0].reach:g} standard deviations, widened by what so few values leave "
            "open of centre and spread (--handbook: not widened)"
        )
    yield "what changed stands beside; that it was the cause is not proved. Nothing is corrected"


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
