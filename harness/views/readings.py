"""Readings as tables: once, and as a table in a terminal that is drawn over itself.

Pure. Text in, text out: what is on the screen is the caller's business. Widths are counted in
characters; no reading, unit or name of ours has one that is wider than that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from harness.rig.readings import Reading, shown
from harness.rig.sensors.sensors import Line

#: A text longer than this is cut first; a source shorter than this is not worth showing.
_MOST_VALUES, _LEAST_SOURCE = 24, 12
_HEADS = ("reading", "now", "least", "most", "from")
_BOLD, _DIM, _PLAIN = "\x1b[1m", "\x1b[2m", "\x1b[0m"


def plain_reading(line: Line) -> dict[str, object]:
    """Return a line as the object that ``--json`` shows."""
    reading = line.reading
    return {
        "name": reading.name,
        "unit": reading.unit,
        "value": list(reading.value) if isinstance(reading.value, tuple) else reading.value,
        "why": reading.why,
        "raw": reading.raw,
        "source": line.where or None,
        "device": line.identity or None,
    }


def as_table(lines: Sequence[Line]) -> str:
    """Return what is measured first, then what is not and why, both in the table's order.

    Devices are named below, each once.
    """
    rows = [(line.reading.name, _value(line.reading), _from(line, lines)) for line in lines]
    width = max(len(name) for name, _, _ in rows)
    there = [row for row, line in zip(rows, lines, strict=True) if line.reading.measured]
    absent = [row for row, line in zip(rows, lines, strict=True) if not line.reading.measured]
    values = min(40, max((len(value) for _, value, _ in there), default=0))
    text = [f"{name:<{width}}  {value:<{values}}  {where}".rstrip() for name, value, where in there]
    text += ["", f"{len(there)} measured, {len(absent)} not:", ""] if absent else []
    text += [f"{name:<{width}}  {value}" for name, value, _ in absent]
    devices = _devices(lines)
    text += ["", *(f"[{n}] {device}" for n, device in enumerate(devices, start=1))] * bool(devices)
    return "\n".join(text)


def _devices(lines: Sequence[Line]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(line.identity for line in lines if line.identity))


def _from(line: Line, lines: Sequence[Line]) -> str:
    """Return the source of a line, with the number of its device."""
    if not line.identity:
        return line.where
    return f"{line.where} [{_devices(lines).index(line.identity) + 1}]"


def _value(reading: Reading) -> str:
    """Return the value, with what the source said where that tells more (reasons, margins)."""
    text = shown(reading)
    return f"{text} ({reading.raw})" if reading.measured and reading.raw is not None else text


# ----------------------------------------------------------------------------- going on


@dataclass(slots=True, kw_only=True)
class Seen:
    """The readings as they went on: the last of each, its least and its most."""

    lines: tuple[Line, ...] = ()
    least: dict[str, float] = field(default_factory=dict)
    most: dict[str, float] = field(default_factory=dict)
    looks: int = 0

    def look(self, lines: Sequence[Line]) -> None:
        """Take another look up. What is not measured moves neither least nor most."""
        self.lines, self.looks = tuple(lines), self.looks + 1
        for line in lines:
            name, value = line.reading.name, line.reading.value
            if isinstance(value, float):
                self.least[name] = min(value, self.least.get(name, value))
                self.most[name] = max(value, self.most.get(name, value))


def as_screen(seen: Seen, *, columns: int, rows: int, since: str, colour: bool) -> tuple[str, ...]:
    """Return the lines of one picture of the readings, none longer or more than fit.

    Where there is too little room the sources go first, then least and most, then the last
    readings, which are counted.

    Args:
        seen: The looks so far.
        columns: Width of the terminal.
        rows: Its height.
        since: How long it has been going on, in words.
        colour: Whether bold and dim may be used.
    """
    measured = [line for line in seen.lines if line.reading.measured]
    absent = len(seen.lines) - len(measured)
    cells = [
        (
            line.reading.name,
            shown(line.reading),
            _number(seen.least.get(line.reading.name)),
            _number(seen.most.get(line.reading.name)),
            _from(line, seen.lines),
        )
        for line in measured
    ]
    wide = _fitting([_HEADS, *cells], columns)
    foot = f"Since {since}; Ctrl-C ends."
    foot += f" {absent} not measured: harness sensors says why." if absent else ""
    room = max(0, rows - 4)
    if len(cells) > room:
        foot = f"{len(cells) - room} more in a taller window. {foot}"
        cells = cells[:room]
    head = _row(_HEADS, wide, columns)
    return (
        f"{_BOLD}{head}{_PLAIN}" if colour else head,
        *(_row(row, wide, columns) for row in cells),
        "",
        f"{_DIM}{_cut(foot, columns)}{_PLAIN}" if colour else _cut(foot, columns),
    )


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def _fitting(rows: Sequence[tuple[str, ...]], columns: int) -> list[int]:
    """Return the widths of as many columns as there is room for, from the left."""
    wide = [max(len(row[n]) for row in rows) for n in range(len(_HEADS))]
    names, values, ends = wide[0], min(wide[1], _MOST_VALUES), wide[2] + wide[3] + 4
    left = columns - names - 2 - values
    if left < ends:
        return [names, max(1, columns - names - 2)]
    if left - ends < _LEAST_SOURCE + 2:
        return [names, values + left - ends, *wide[2:4]]
    source = min(wide[4], left - ends - 2)
    return [names, min(wide[1], values + left - ends - 2 - source), *wide[2:4], source]


def _row(row: tuple[str, ...], wide: Sequence[int], columns: int) -> str:
    parts = [
        text.rjust(width) if n in (2, 3) else _cut(text, width).ljust(width)
        for n, (text, width) in enumerate(zip(row, wide, strict=False))
    ]
    return _cut("  ".join(parts).rstrip(), columns)


def _cut(text: str, width: int) -> str:
    """Return *text*, cut where it is too long: no number is ever cut without a sign of it."""
    return text if len(text) <= width else text[: max(0, width - 1)] + "…"


def as_lines(before: Sequence[Line], lines: Sequence[Line], *, at: datetime) -> tuple[str, ...]:
    """Return a line for each reading, for files and pipes.

    What is not measured has one line, when that becomes known and when its reason changes.

    Args:
        before: The look before; empty at the first.
        lines: This look.
        at: When, UTC.
    """
    whys = {line.reading.name: line.reading.why for line in before}
    clock = f"{at:%Y-%m-%dT%H:%M:%S}Z"
    return tuple(
        f"{clock}  {line.reading.name}  {_value(line.reading)}"
        for line in lines
        if line.reading.measured or whys.get(line.reading.name) != line.reading.why
    )
