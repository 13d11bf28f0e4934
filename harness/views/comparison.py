"""A comparison as a person reads it on a terminal.

Pure. Differences come first, then a line or three for each row, what is over all of them, what
was left out, and what every column means.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from harness.summary.comparison import Compared, Comparison, Overall
from harness.summary.evidence import Unit
from harness.summary.margins import Margin, Word
from harness.summary.needed import MOST, Needed
from harness.summary.rate_setters import RateSetter, Setter
from harness.summary.rows import Row
from harness.views.comparison_legend import legend
from harness.views.costs import row_cost
from harness.views.despite import despite_words
from harness.views.margin_numbers import decimals, interval, mean, per_cent

_HEAD = ("cell", "base", "against", "n", "margin", "95 % interval", "90 % interval", "word")
_MOST_LISTED = 12
_PLURAL = {
    Unit.RUN: "runs",
    Unit.NIGHT: "nights",
    Unit.VISIT: "visits",
    Unit.ROUND: "rounds",
    Unit.PASS: "passes",
}


def as_text(found: Comparison, *, width: int) -> Iterator[str]:
    """Yield the lines of a comparison.

    Args:
        found: What was found.
        width: Columns to fit in, at least 60: where a row does not fit, it takes two lines.
    """
    width = max(60, width)
    for line in _lines(found, width):
        if len(line) <= width or line.startswith("\0"):
            yield line.removeprefix("\0").rstrip()
            continue
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        wrapped = textwrap.wrap(
            line.replace(" %", "\N{NO-BREAK SPACE}%"),
            width,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
        yield from (each.replace("\N{NO-BREAK SPACE}", " ") for each in wrapped)


def _lines(found: Comparison, width: int) -> Iterator[str]:
    shown = {
        side: ", ".join(f"{key} {' and '.join(values)}" for key, values in own.items())
        for side, own in found.selections.items()
    }
    both = f", both {shown['where']}" if shown["where"] else ""
    yield f"base {shown['base'] or 'all'}; against {shown['against'] or 'all'}{both}"
    yield ""
    if found.differences:
        yield "THE SIDES DIFFER in more than what is compared:"
        for each in found.differences:
            yield (
                f"  {each.kind} {each.name}: {each.base} / {each.against} "
                f"(in {each.cells} of {len(found.rows)} rows)"
            )
        yield f"  compared despite that: {found.asked.despite}"
        yield ""
    elif found.asked.despite:
        yield f"compared with --despite {found.asked.despite!r}; nothing differs that must not"
        yield ""
    if found.kept:
        yield "these cells were compared despite differences, which is kept:"
        yield from (f"  {despite_words(one)}" for one in found.kept)
        yield ""
    if found.rows:
        yield from _table(found, width)
        yield ""
        yield from _overall(found)
        yield ""
    else:
        why = "see what is left out" if found.left_out else "no cell stands on both sides"
        yield f"no row: {why}"
        yield ""
    yield from _left_out(found)
    if found.rows:
        yield from legend(found)


# ------------------------------------------------------------------ rows


def _table(found: Comparison, width: int) -> Iterator[str]:
    rows = [_row(each, found) for each in found.rows]
    columns = [max(len(row[n]) for row in (_HEAD, *rows)) for n in range(len(_HEAD))]
    one_line = sum(columns) + 2 * (len(columns) - 1) <= width
    if one_line:
        yield _line(_HEAD, columns)
    for each, row in zip(found.rows, rows, strict=True):
        if one_line:
            yield _line(row, columns)
        else:
            cell, base, against, n, margin, wide, narrow, word = row
            yield cell
            yield f"  {base} -> {against}, n {n}"
            yield f"  {margin} ({wide}; 90 %: {narrow})  {word}"
        yield from (f"    {text}" for text in _beside(each, found))


def _line(row: Sequence[str], columns: Sequence[int]) -> str:
    texts = (
        f"{text:>{size}}" if 0 < n < len(row) - 1 else f"{text:<{size}}"
        for n, (text, size) in enumerate(zip(row, columns, strict=True))
    )
    return "\0" + "  ".join(texts)


def _row(each: Compared, found: Comparison) -> tuple[str, ...]:
    row = each.row
    unit = row.figure.unit
    return (
        _label(each, found),
        f"{mean(row.base.mean, each)} {unit}".rstrip(),
        f"{mean(row.against.mean, each)} {unit}".rstrip(),
        _count_of(row),
        per_cent(each.margin.margin, decimals(each.margin)),
        interval(each.margin.low, each.margin.high, decimals(each.margin)),
        interval(each.margin.low_90, each.margin.high_90, decimals(each.margin)),
        each.margin.word.value,
    )


def _count_of(row: Row) -> str:
    """Return the passes of both sides, and the values they make where a pass is none by itself."""
    passes, values = (row.base.n, row.against.n), row.evidence.n
    shown = [f"{a}" if a == b else f"{a} / {b}" for a, b in (passes, values)]
    if row.evidence.unit in (Unit.PASS, Unit.ROUND):
        return shown[0]
    unit = row.evidence.unit.value if values == (1, 1) else _PLURAL[row.evidence.unit]
    return f"{shown[0]} in {shown[1]} {unit}"


def _label(each: Compared, found: Comparison) -> str:
    cell = each.row.base.cell.cell
    parts = [
        *((cell.title,) if "title" not in found.compared else ()),
        *((cell.scene,) if "scene" not in found.compared else ()),
        *((cell.setting,) if "setting" not in found.compared else ()),
        *(f"{name} {level}" for name, level in cell.levels if name not in found.compared),
    ]
    name = each.row.figure.name
    figures = {one.row.figure.name for one in found.rows}
    return ", ".join(parts if len(figures) == 1 else [*parts, name])


def _beside(each: Compared, found: Comparison) -> Iterator[str]:
    if each.margin.word is Word.UNRESOLVED:
        if each.margin.alone is not Word.UNRESOLVED:
            yield f"by itself: {each.margin.alone.value}; not in a family of {len(found.rows)} rows"
        elif each.margin.low is None:
            unit = each.row.evidence.unit.value
            yield f"one {unit} on a side tells no spread, and so no interval"
        elif each.needed is not None:
            yield _needed(each.needed, each.row.evidence.unit)
    if each.row.flags:
        yield ", ".join(each.row.flags)
    if each.bootstrap is not None:
        yield f"bootstrap (BCa): {interval(*each.bootstrap, decimals(each.margin))}"
    yield from each.row.notes
    cost = row_cost(each.row)
    if cost is not None:
        yield cost
    base, against = each.row.base.setter, each.row.against.setter
    if base.part is Setter.NOT_MEASURED and against.part is Setter.NOT_MEASURED:
        return
    first, second = _setter(base), _setter(against)
    yield f"rate set by: {first}" if first == second else f"rate set by: {first} -> {second}"


def _setter(setter: RateSetter) -> str:
    words = setter.part.value
    if setter.gpu_load is not None:
        words += f" (card {setter.gpu_load:.0f} % at work"
        if setter.cpu_load is not None:
            words += f", processor {setter.cpu_load:.0f} %"
        words += ")"
    for name, share in setter.limits:
        words += f", {name} {100 * share:.0f} % of the time"
    return words


def _needed(needed: Needed, unit: Unit) -> str:
    plural = _PLURAL[unit]
    if needed.expected is None:
        least = "" if needed.low is None else f"; {needed.low} at the very best"
        return f"not settled by {MOST} {plural} a side if it stays where it is{least}"
    high = f"over {MOST}" if needed.high is None else f"{needed.high}"
    return (
        f"about {needed.expected} {plural} a side would settle it if it stays where it is "
        f"({needed.low} to {high}, by how well the spread is known)"
    )


# ------------------------------------------------------------------ the rest


def _overall(found: Comparison) -> Iterator[str]:
    overall = found.overall
    if overall is None:
        yield f"over all: nothing, since {found.overall_why}"
        return
    noun = "title" if overall.found.titles == 1 else "titles"
    yield f"over {overall.found.titles} {noun}: {_shown(overall.these)}"
    if overall.these.low is not None:
        yield f"  for these titles, {known_from(overall.found.these.unit)}"
    if overall.like_these is not None and overall.like_these.low is not None:
        wide = interval(
            overall.like_these.low, overall.like_these.high, decimals(overall.like_these)
        )
        yield f"  for titles like these: {wide} (95 %): {overall.like_these.word.value}"
    if found.asked.weights:
        weights = ", ".join(f"{title} {each:g}" for title, each in found.asked.weights.items())
        yield f"  weights: {weights}; every other title 1"
    yield from _titles(overall)
    if overall.flags:
        yield f"  {', '.join(overall.flags)}"


def known_from(unit: Unit) -> str:
    """Return what the interval over these titles rests on."""
    if unit is Unit.PASS:
        return "from the noise of passes alone"
    return f"from how {_PLURAL[unit]} differ: all titles share them, and more titles do not help"


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _titles(overall: Overall) -> Iterator[str]:
    if 1 < overall.found.titles <= _MOST_LISTED:
        shown = (f"{title} {100 * (each - 1):+.1f} %" for title, each in overall.found.ratios)
        yield f"  by title: {', '.join(shown)}"


def _shown(margin: Margin) -> str:
    digits = decimals(margin)
    wide = interval(margin.low, margin.high, digits)
    narrow = interval(margin.low_90, margin.high_90, digits)
    value = per_cent(margin.margin, digits)
    if margin.low is None:
        return f"{value} (no interval: not every row has one)  {margin.word.value}"
    return f"{value} ({wide}; 90 %: {narrow})  {margin.word.value}"


def _left_out(found: Comparison) -> Iterator[str]:
    older: dict[str, int] = {}
    for cell in found.older:
        place = f"run {cell.run} on {cell.rig}, group {cell.group}"
        older[place] = older.get(place, 0) + 1
    listed = [
        ("left out", [f"{label}: {why}" for label, why in found.left_out]),
        (
            "measured more than once: not taken, since a later run or group counts (run=, group=)",
            [f"{place}: {_counted(count, 'cell')}" for place, count in older.items()],
        ),
        (
            "differs as well, and no plan asks that it be the same",
            [
                f"{each.name}: {each.base} / {each.against} (in {_counted(each.cells, 'row')})"
                for each in found.also
            ],
        ),
    ]
    for head, lines in listed:
        if lines:
            yield f"{head}:"
            yield from (f"  {line}" for line in lines)
            yield ""
