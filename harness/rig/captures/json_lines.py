"""Frame logs of JSON lines: one object a line (JSON as in RFC 8259), a frame each.

Pure. Whole pieces are read at once, as one JSON array of their lines; only where that finds
something odd are the lines walked, to find which.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import pairwise

from harness.rig.captures import columns
from harness.rig.captures.rows import Absent, Rows
from harness.rig.captures.text import pieces
from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from harness.rig.captures.gather import Gather


class Keys:
    """Which keys of the objects hold what."""

    __slots__ = ("counter", "kinds", "time", "watched", "where")

    def __init__(self, names: list[str], gather: Gather) -> None:
        declared = gather.declared

        def find(wanted: str, what: str) -> str:
            return names[columns.find(names, wanted, what=what, line=1, text=None)]

        self.time = names[columns.time_column(names, declared, line=1, text=None)]
        self.where = tuple((find(name, "where"), value) for name, value in declared.where)
        self.kinds = find(declared.kinds_column, "kinds") if declared.kinds_column else None
        self.counter = find(declared.counter, "counter") if declared.counter else None
        chosen = {self.time, self.kinds, *(key for key, _ in self.where)}
        self.watched = tuple(
            name
            for name in names
            if name not in chosen
            and " ".join(columns.words(name)) in columns.PROGRAM_NAMES | columns.KIND_NAMES
        )


def read(blocks: Iterator[bytes], gather: Gather) -> None:
    """Read JSON lines into *gather*.

    Raises:
        Trouble: the file cannot be read as it was declared.
    """
    keys: Keys | None = None
    line = 1
    for piece in pieces(blocks, gather.declared.encoding, notes=gather.notes, voids=gather.voids):
        body = piece.body
        if piece.final:
            body = body.rstrip(b"\n") + b"\n" if body.strip() else b""
            if piece.rest.strip():
                gather.voids.append(
                    Trouble(
                        "truncated",
                        f"the last line has no line end, so what it says is unproven: "
                        f"{shown(piece.rest)} is dropped",
                        line=line + body.count(b"\n"),
                        do=AGAIN,
                    )
                )
        if not body:
            continue
        objects = _objects(body, line)
        if keys is None:
            keys = _begin(objects, gather)
        try:
            gather.add(_rows(objects, keys, line))
        except Absent as absent:
            gather.absent(absent)
        line += len(objects)


def _begin(objects: list[dict[str, Any]], gather: Gather) -> Keys:
    names = list(objects[0])
    keys = Keys(names, gather)
    named = (
        keys.time if isinstance(gather.declared.column, str) or not gather.declared.column else None
    )
    unit = columns.unit_of(named, gather.declared)
    if unit is None:
        raise Trouble(
            "unit-missing",
            f"the unit of {shown(keys.time)} was not declared, and its name does not say it",
            do="declare unit s, ms, us or ns",
        )
    if keys.counter is None:
        keys.counter = _counter(objects[:8], names, keys)
    gather.begin(
        unit=unit,
        column=keys.time,
        counter=keys.counter,
        watched=dict(enumerate(keys.watched)),
    )
    return keys


def _counter(first: list[dict[str, Any]], names: list[str], keys: Keys) -> str | None:
    for name in names:
        if name == keys.time or " ".join(columns.words(name)) not in columns.COUNTER_NAMES:
            continue
        values: list[Any] = [each.get(name) for each in first]
        if all(type(value) is int for value in values) and len(values) > 1:
            steps = [after - value for value, after in pairwise(values)]
            if 2 * steps.count(1) > len(steps):
                return name
    return None


class _Twice(ValueError):
    pass


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        names = [name for name, _ in pairs]
        raise _Twice(next(name for name in names if names.count(name) > 1))
    return made


def _objects(body: bytes, first_line: int) -> list[dict[str, Any]]:
    """Return the objects of some lines, one each."""
    lines = body.count(b"\n")
    text = body.decode("utf-8", "replace")
    try:
        found = json.loads("[" + text[:-1].replace("\n", ",\n") + "]", object_pairs_hook=_pairs)
    except (ValueError, RecursionError):
        found = None
    if found is not None and len(found) == lines and all(type(each) is dict for each in found):
        objects: list[dict[str, Any]] = found
        return objects
    raise _odd_line(text, first_line)


def _odd_line(text: str, first_line: int) -> Trouble:
    """Return the trouble of the first line that is not one object."""
    for number, line in enumerate(text.split("\n")[:-1], start=first_line):
        why = "it is no object"
        try:
            if type(json.loads(line, object_pairs_hook=_pairs)) is dict:
                continue
        except _Twice as twice:
            return Trouble(
                "column-twice",
                f"the key {shown(str(twice))} comes twice in line {number}",
                line=number,
                text=line[:200],
                do="have the recorder name its values apart",
            )
        except (ValueError, RecursionError) as error:
            why = getattr(error, "msg", "nested too deeply")
        if not line.strip():
            return Trouble(
                "blank-line",
                f"line {number} is empty, and frames come after it",
                line=number,
                do=AGAIN,
            )
        return Trouble(
            "row-width",
            f"line {number} is not one JSON object ({why}): {shown(line, most=60)}",
            line=number,
            text=line[:200],
            do="see what wrote the line; every line must be one object",
        )
    return Trouble(
        "row-width", "the lines are not one JSON object each", do="see what wrote the file"
    )


class Told:
    """A counter as JSON tells it."""

    __slots__ = ("_values",)

    def __init__(self, values: list[float]) -> None:
        self._values = values

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self._values)

    def first(self, line: Any) -> float:
        """Return the first number."""
        del line
        return self._values[0]

    def counts_up(self, start: int) -> bool:
        """Return whether the rows say start, start + 1, start + 2 and so on."""
        return self._values == list(range(start, start + len(self._values)))

    def values(self, line: Any) -> list[float]:
        """Return the numbers."""
        del line
        return self._values

    def chosen(self, mask: Any) -> Told:
        """Return the rows that *mask* chooses."""
        return Told([value for value, counts in zip(self._values, mask, strict=True) if counts])


def _rows(objects: list[dict[str, Any]], keys: Keys, line: int) -> Rows:
    mask = None
    kept = objects
    passed_over: list[bytes] = []
    if keys.where:
        mask = [all(_text(each.get(key)) == value for key, value in keys.where) for each in objects]
        kept = [each for each, counts in zip(objects, mask, strict=True) if counts]
        passed_over = [
            _text(each.get(keys.where[0][0])).encode("utf-8", "replace")
            for each, counts in zip(objects, mask, strict=True)
            if not counts
        ]
    rows = Rows(
        times=(),
        kinds=None
        if keys.kinds is None
        else [_text(each.get(keys.kinds)).encode("utf-8", "replace") for each in kept],
        watched={
            place: [_text(each.get(name)).encode("utf-8", "replace") for each in kept]
            for place, name in enumerate(keys.watched)
        },
        mask=mask,
        passed_over=passed_over,
        first_line=line,
    )
    rows.times = _numbers([each.get(keys.time) for each in kept], keys.time, rows)
    if keys.counter is not None:
        counted = [each.get(keys.counter) for each in objects]
        rows.counter = Told(_numbers(counted, keys.counter, Rows(times=(), first_line=line)))
    return rows


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)


def _numbers(values: list[Any], name: str, rows: Rows) -> list[float]:
    kinds = set(map(type, values))
    if kinds <= {int, float}:
        try:
            numbers = list(map(float, values))
        except OverflowError:
            numbers = [float("inf")]
        if all(map((-float("inf")).__lt__, numbers)) and max(numbers, default=0.0) < float("inf"):
            return numbers
    absent: dict[str, int] = {}
    first: int | None = None
    for place, value in enumerate(values):
        kind = None
        if value is None:
            kind = "blank"
        elif type(value) is float and value != value:
            kind = "NaN"
        elif type(value) in (int, float) and abs(value) > 1.8e308:
            kind = "infinite"
        elif type(value) not in (int, float):
            raise Trouble(
                "not-a-number",
                f"{shown(json.dumps(value))} at {shown(name)} is not a number",
                line=rows.line(place),
                do="see that the key is declared rightly; a number stands without quotes in JSON",
            )
        if kind is not None:
            absent[kind] = absent.get(kind, 0) + 1
            first = place if first is None else first
    raise Absent(absent, line=rows.line(first or 0), text=json.dumps(values[first or 0]).encode())
