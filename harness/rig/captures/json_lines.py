"""Frame logs of JSON lines: one object a line (JSON as in RFC 8259), a frame each.

Pure. Whole pieces are read at once, as one JSON array of their lines; only where that finds
something odd are the lines walked, to find which.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

from harness.rig.captures.json_keys import Told, begin, mask_of, text_of
from harness.rig.captures.rows import Absent, Rows
from harness.rig.captures.text import pieces
from harness.rig.captures.trouble import AGAIN, Trouble, shown

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from harness.rig.captures.gather import Gather
    from harness.rig.captures.json_keys import Keys


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
            keys = begin(objects, gather)
        keys.watch(objects, gather)
        try:
            gather.add(_rows(objects, keys, line))
        except Absent as absent:
            gather.absent(absent)
        line += len(objects)


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
    array = "[" + text[:-1].replace("\n", ",\n") + "]"
    try:
        found = json.loads(array, object_pairs_hook=_pairs)
    except (json.JSONDecodeError, _Twice, RecursionError):
        found = None
    except ValueError:  # more digits than an int is read of
        found = _with_long_numbers(array)
    if found is not None and len(found) == lines and all(type(each) is dict for each in found):
        objects: list[dict[str, Any]] = found
        return objects
    raise _odd_line(text, first_line)


def _with_long_numbers(text: str) -> Any:
    """Return what JSON says that may hold whole numbers of thousands of digits; None: nothing.

    As many digits as no float can hold are left of them: they are told as too large.
    """
    try:
        return json.loads(
            text, object_pairs_hook=_pairs, parse_int=lambda digits: int(digits[:_LONG])
        )
    except (ValueError, RecursionError):
        return None


_LONG = 400  # digits


def _odd_line(text: str, first_line: int) -> Trouble:
    """Return the trouble of the first line that is not one object."""
    for number, line in enumerate(text.split("\n")[:-1], start=first_line):
        why = "it is no object"
        try:
            if type(json.loads(line, object_pairs_hook=_pairs, parse_int=float)) is dict:
                continue
        except _Twice as twice:
            return Trouble(
                "column-twice",
                f"the key {shown(str(twice))} comes twice in line {number}",
                line=number,
                text=line[:200],
                do="have the recorder name its values apart",
            )
        except json.JSONDecodeError as error:
            why = error.msg
        except RecursionError:
            why = "nested too deeply"
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


def _rows(objects: list[dict[str, Any]], keys: Keys, line: int) -> Rows:
    mask = mask_of(objects, keys)
    kept = objects
    passed_over: list[bytes] = []
    if mask is not None:
        kept = [each for each, counts in zip(objects, mask, strict=True) if counts]
        passed_over = [
            text_of(each.get(keys.where[0][0])).encode("utf-8", "replace")
            for each, counts in zip(objects, mask, strict=True)
            if not counts
        ]
    rows = Rows(
        times=(),
        kinds=None
        if keys.kinds is None
        else [text_of(each.get(keys.kinds)).encode("utf-8", "replace") for each in kept],
        watched={
            place: [text_of(each.get(name)).encode("utf-8", "replace") for each in kept]
            for place, name in enumerate(keys.watched)
        },
        mask=mask,
        passed_over=passed_over,
        first_line=line,
    )
    rows.times = _numbers([each.get(keys.time) for each in kept], keys.time, rows)
    rows.counters = [Told([each.get(name) for each in objects], name) for name in keys.counters]
    return rows


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
        kind = _kind(value)
        if kind is None:
            continue
        if kind == _NO_NUMBER:
            raise Trouble(
                "not-a-number",
                f"{shown(json.dumps(value))} at {shown(name)} is not a number",
                line=rows.line(place),
                do="see that the key is declared rightly; a number stands without quotes in JSON",
            )
        absent[kind] = absent.get(kind, 0) + 1
        first = place if first is None else first
    raise Absent(absent, line=rows.line(first or 0), text=json.dumps(values[first or 0]).encode())


_NO_NUMBER = "no number"


def _kind(value: Any) -> str | None:
    """Return what a value says instead of a time; None: it is a number."""
    if value is None:
        return "blank"
    if type(value) not in (int, float):
        return _NO_NUMBER
    try:
        number = float(value)
    except OverflowError:
        return "too large"
    if number != number:
        return "NaN"
    return "infinite" if abs(number) == float("inf") else None
