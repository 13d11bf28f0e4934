"""What the lab's own sensors print, and the readings it makes: ``name value unit``, or JSON.

Pure. One reading a line::

    room.temperature 22.4 °C
    pump.speed 1850 rpm
    pump.running true

or one JSON object, ``{"room.temperature": "22.4 °C", "pump.speed": {"value": 1850, "unit":
"rpm"}}``, on a line of its own or over a whole answer. Blank lines and lines that begin with
``#`` say nothing. Numbers and units follow the one grammar of ``harness.units``; a number
without a unit is never taken for one with.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from harness.rig.plausible import why_implausible
from harness.rig.quantities import Form
from harness.rig.readings import Reading
from harness.units import Unreadable, quantity, shown

#: Of one line: what is longer is no reading.
MOST_CHARACTERS = 500
_ALONE = "stands alone, without a value"


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """A reading that a sensor of the lab gives: its name, its unit, its kind of value."""

    name: str
    unit: str
    form: Form


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was printed of one reading: the rest of its line, and which line it was, from 1."""

    name: str
    rest: str
    line: int


def said(text: str) -> Iterator[Said]:
    """Yield what *text* says, in its order. What is no reading has an empty ``rest``."""
    if text.lstrip().startswith("{") and "\n" in text.strip():
        yield from _of_object(text, 1)  # an answer over several lines
        return
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if not stripped or stripped.startswith("#"):
            continue
        if stripped.startswith("{"):
            yield from _of_object(stripped, number)
            continue
        name, *rest = stripped[:MOST_CHARACTERS].split(None, 1)  # a tab parts them as well
        yield Said(name=name, rest=" ".join(rest).replace("\t", " ").strip(), line=number)


def _of_object(text: str, line: int) -> Iterator[Said]:
    try:
        # Numbers stay as they were written: what is printed is what is read.
        found = json.loads(text, parse_int=str, parse_float=str, parse_constant=str)
    except (ValueError, RecursionError):
        yield Said(name=text[:40], rest="", line=line)
        return
    for name, value in found.items():
        yield Said(name=str(name), rest=_rest(value)[:MOST_CHARACTERS], line=line)


def _rest(value: object) -> str:
    """Return a value of a JSON object as it would stand on a line."""
    if isinstance(value, dict):
        inner, unit = value.get("value"), value.get("unit")
        unit = unit if isinstance(unit, str) else ""
        return f"{_rest(inner)} {unit}".strip() if not isinstance(inner, (dict, list)) else ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _without_exponent(value)
    return ""  # null, a list


def _without_exponent(text: str) -> str:
    """Return a number with an exponent, as JSON may write it, in plain digits."""
    number, _, unit = text.partition(" ")
    if "e" not in number.lower() or not number[:1].strip("+-").isdigit():
        return text
    try:
        return f"{Decimal(number):f} {unit}".strip()
    except InvalidOperation:
        return text


def reading_of(declared: Declared, found: Said) -> Reading:
    """Return the reading that a line makes; not measured, with the line, where it does not fit.

    >>> pump = Declared(name="pump.speed", unit="rpm", form=Form.NUMBER)
    >>> reading_of(pump, Said(name="pump.speed", rest="1850 rpm", line=2)).value
    1850.0
    >>> reading_of(pump, Said(name="pump.speed", rest="1850", line=2)).why
    "needs a unit: '1850' has none, write 1850 rpm"
    """
    name, unit, rest = declared.name, declared.unit, found.rest
    raw = f"line {found.line}: {name} {rest}".rstrip()

    def refused(why: str) -> Reading:
        return Reading(name=name, unit=unit, why=why, raw=raw)

    match declared.form:
        case Form.NUMBER | Form.COUNT:
            try:
                number = quantity(rest, unit)
            except Unreadable as error:
                return refused(f"{error.what}, {error.do}")
            if declared.form is Form.COUNT and not number.is_integer():
                return refused(f"is a count, and {shown(rest)} is no whole number")
            implausible = why_implausible(name, number, unit=unit)
            if implausible is not None:
                return refused(implausible)
            return Reading(name=name, unit=unit, value=number)
        case Form.FLAG:
            if rest in ("true", "false"):
                return Reading(name=name, unit=unit, value=rest == "true")
            return refused(f"must be true or false, not {shown(rest)}")
        case Form.TEXT:
            return Reading(name=name, unit=unit, value=rest) if rest else refused(_ALONE)
        case Form.NAMES:
            names = tuple(part.strip() for part in rest.split(",") if part.strip())
            return Reading(name=name, unit=unit, value=names) if names else refused(_ALONE)
