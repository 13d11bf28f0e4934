"""Pictures as SVG: tallies of passes, intervals of margins, rates over settings, drift.

Pure. They carry no colours and no styles of their own: classes name what a mark is, the style
sheet says how it looks, in both schemes and on paper. Beside each stands the same as text, so
the small ones are hidden from a screen reader, and the large ones have a title.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup

_GAP = 7  # from stroke to stroke of a tally


def tally(kept: int, wanted: int, counts: Mapping[str, int]) -> Markup:
    """Return the passes of a cell as strokes: kept, still wanted, and those that do not count."""
    strokes = ["kept"] * kept + ["wanted"] * max(0, wanted - kept)
    for name in ("discarded", "void", "failed", "interrupted"):
        strokes += [name] * counts.get(name, 0)
    strokes = strokes[:24]
    parts = [_stroke(name, 4 + _GAP * place) for place, name in enumerate(strokes)]
    width = 4 + _GAP * len(strokes)
    return Markup(
        '<svg class="tally" viewBox="0 0 {0} 18" width="{0}" height="18" aria-hidden="true">{1}'
        "</svg>"
    ).format(width, Markup("").join(parts))


def _stroke(name: str, x: int) -> Markup:
    match name:
        case "kept" | "wanted":
            return Markup('<line class="{}" x1="{}" x2="{}" y1="3" y2="15"/>').format(name, x, x)
        case "failed":
            cross = '<path class="failed" d="M{} 5l5 8M{} 5l-5 8"/>'
            return Markup(cross).format(x - 2, x + 3)
        case _:
            line = '<path class="{}" d="M{} 3v12M{} 12l6 -6"/>'
            return Markup(line).format(name, x, x - 3)


def interval(
    low: float | None, middle: float, high: float | None, *, band: float, reach: float
) -> Markup:
    """Return a margin with its interval between -*reach* and *reach*, over the band.

    An end that lies outside is drawn to the edge, with an arrow.
    """

    def x(value: float) -> float:
        return round(100 * (1 + max(-1.0, min(1.0, value / reach))), 2)

    parts = [
        Markup('<rect class="band" x="{}" width="{}" y="0" height="20"/>').format(
            x(1 / (1 + band) - 1), x(band) - x(1 / (1 + band) - 1)
        ),
        Markup('<line class="zero" x1="100" x2="100" y1="0" y2="20"/>'),
    ]
    if low is not None and high is not None:
        ends = Markup('<line class="span" x1="{}" x2="{}" y1="10" y2="10"/>')
        parts.append(ends.format(x(low), x(high)))
        if low < -reach:
            parts.append(Markup('<path class="span" d="M6 5L1 10L6 15"/>'))
        if high > reach:
            parts.append(Markup('<path class="span" d="M194 5L199 10L194 15"/>'))
    parts.append(Markup('<circle class="point" cx="{}" cy="10" r="4"/>').format(x(middle)))
    return Markup(
        '<svg class="interval" viewBox="0 0 200 20" width="200" height="20" aria-hidden="true">{}'
        "</svg>"
    ).format(Markup("").join(parts))


_WIDTH, _HEIGHT, _LEFT, _BOTTOM, _TOP = 640, 260, 64, 36, 14


class _Chart:
    """A plain chart with a scale at the left; values go up."""

    def __init__(self, *, title: str, low: float, high: float, unit: str) -> None:
        margin = (high - low) * 0.08 or abs(high) * 0.05 or 1.0
        self._low, self._high = low - margin, high + margin
        self._title, self._parts = title, list[Markup]()
        step = (self._high - self._low) / 4
        places = max(0, 1 - math.floor(math.log10(step)))
        for place in range(5):
            value = self._low + step * place
            y = self.y(value)
            self.add('<line class="scale" x1="{}" x2="{}" y1="{}" y2="{}"/>', _LEFT, _WIDTH, y, y)
            self.add(
                '<text class="end" x="{}" y="{}">{}</text>', _LEFT - 6, y + 4, f"{value:.{places}f}"
            )
        self.add('<text x="4" y="11">{}</text>', unit)

    def y(self, value: float) -> float:
        share = (value - self._low) / (self._high - self._low)
        return round(_HEIGHT - _BOTTOM - share * (_HEIGHT - _BOTTOM - _TOP), 2)

    def add(self, form: str, *values: object) -> None:
        """Add a part; every value in it is escaped."""
        self._parts.append(Markup(form).format(*values))

    def level(self, value: float, kind: str) -> None:
        """Draw a line all across."""
        y = self.y(value)
        self.add('<line class="{}" x1="{}" x2="{}" y1="{}" y2="{}"/>', kind, _LEFT, _WIDTH, y, y)

    def line(self, points: Sequence[tuple[float, float]], kind: str) -> None:
        """Draw a line through points (x in pixels, value)."""
        path = " ".join(f"{round(x, 2)},{self.y(value)}" for x, value in points)
        self.add('<polyline class="{}" points="{}"/>', kind, path)

    def dot(self, x: float, value: float, kind: str, told: str) -> None:
        """Draw a point that tells what it is."""
        self.add(
            '<circle class="{}" cx="{}" cy="{}" r="4"><title>{}</title></circle>',
            kind, round(x, 2), self.y(value), told,
        )  # fmt: skip

    def svg(self) -> Markup:
        return Markup(
            '<svg class="chart" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>'
        ).format(_WIDTH, _HEIGHT, self._title, Markup("").join(self._parts))


def ceilings(title: Mapping[str, Any], *, condition: str) -> Markup:
    """Return one title of ``ceilings --json``: the rate over its settings, a line a level.

    Settings stand in the order of the fastest level's rates.
    """
    levels = [each for each in title["levels"] if each["rates"]]
    free = next((each for each in levels if each["level"] == title["fastest"]), levels[0])
    settings = [rate["setting"] for rate in sorted(free["rates"], key=lambda rate: rate["mean"])]
    for each in levels:
        settings += [r["setting"] for r in each["rates"] if r["setting"] not in settings]
    values = [rate["mean"] for each in levels for rate in each["rates"]]
    name = f"{title['title']}: rates over settings, by {condition}"
    chart = _Chart(title=name, low=min(values), high=max(values), unit=title["unit"])
    step = (_WIDTH - _LEFT) / len(settings)
    at = {setting: _LEFT + step * (place + 0.5) for place, setting in enumerate(settings)}
    for setting, x in at.items():
        chart.add('<text class="middle" x="{}" y="{}">{}</text>', x, _HEIGHT - 14, setting)
    for place, each in enumerate(levels):
        kind = f"line c{place % 6}"
        points = [(at[rate["setting"]], rate["mean"]) for rate in each["rates"]]
        points.sort()
        chart.line(points, kind)
        for rate in each["rates"]:
            value = f"{rate['mean']:.4g} (n {rate['n']})"
            told = f"{condition} {each['level']}, {rate['setting']}: {value}"
            chart.dot(at[rate["setting"]], rate["mean"], f"dot c{place % 6}", told)
        if each["ceiling"] is not None:
            chart.level(each["ceiling"]["rate"], f"ceiling c{place % 6}")
    return chart.svg()


def drift(series: Mapping[str, Any]) -> Markup:
    """Return one series of ``drift --json``: its values in order, with their limits."""
    values = series["values"]
    limits = series["limits"]
    signalled = {
        place for each in series["signals"] for place in range(each["first"], each["last"] + 1)
    }
    ends = [each["value"] for each in values]
    if limits is not None:
        ends += [limits["low"], limits["high"]]
    name = f"{series['title']}, {series['setting']} on {series['rig']}: {series['figure']}"
    chart = _Chart(title=name, low=min(ends), high=max(ends), unit=series["unit"])
    if limits is not None:
        chart.level(limits["centre"], "centre")
        chart.level(limits["low"], "limit")
        chart.level(limits["high"], "limit")
    step = (_WIDTH - _LEFT) / max(1, len(values))
    points = [(_LEFT + step * (place + 0.5), each["value"]) for place, each in enumerate(values)]
    chart.line(points, "line c0")
    if all(each["average"] is not None for each in values):
        averaged = [(x, each["average"]) for (x, _), each in zip(points, values, strict=True)]
        chart.line(averaged, "line c1")
    for place, ((x, value), each) in enumerate(zip(points, values, strict=True)):
        kind = "dot signal" if place in signalled else "dot c0"
        chart.dot(x, value, kind, f"{each['at'][:16]}, run {each['run']}: {value:.5g}")
    for place in (0, len(values) - 1) if len(values) > 1 else (0,):
        where = "start" if place == 0 else "end"
        x = _LEFT if place == 0 else _WIDTH
        chart.add(
            '<text class="{}" x="{}" y="{}">{}</text>', where, x, _HEIGHT - 14,
            values[place]["at"][:10],
        )  # fmt: skip
    return chart.svg()
