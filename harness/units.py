"""Numbers with units, read by one grammar and shown by one.

Pure. A number is written in decimal digits, with a point and no needless zero in front:
``0``, ``12``, ``-3``, ``0.5``. Signs of thousands, exponents, other bases, ``inf`` and
``nan`` are refused. A quantity is a number and a unit: ``30 s``, ``45 °C``, ``20 GiB``.
Lengths of time may be put together from large to small: ``1 min 30 s``.

What is read comes back in a base unit: seconds, bytes, fractions, or the unit asked for.
Powers of ten are moved in the text before it becomes a number, so that ``5.7 %`` is
exactly what ``0.057`` is.
"""

from __future__ import annotations

from functools import lru_cache


class Unreadable(ValueError):
    """A text that is not the number or quantity it should be.

    Args:
        code: Kebab-case, stable.
        what: What is wrong with the text, to follow its field's name.
        do: What to write instead.
    """

    def __init__(self, code: str, what: str, do: str) -> None:
        super().__init__(what)
        self.code, self.what, self.do = code, what, do


_DIGITS = frozenset("0123456789")
_MOST_SHOWN = 40


def shown(text: str) -> str:
    """Return *text* in quotes, with escapes, cut where it is long: as a message shows it."""
    return repr(text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 1] + "…")


#: Longer numbers are never meant, and would lose digits.
_MOST_DIGITS = 24


def number_text(text: str) -> str:
    """Return *text* if it is a number of the one grammar.

    Raises:
        Unreadable: It is not; ``do`` says what to write.
    """
    digits = text[1:] if text[:1] in ("+", "-") else text
    before, point, after = digits.partition(".")
    if not _DIGITS.issuperset(before + after) or not before or (point and not after):
        raise _no_number(text, digits)
    if before[0] == "0" and before != "0":
        plain = text[: -len(digits)] + (before.lstrip("0") or "0") + point + after
        raise Unreadable("leading-zero", f"has a leading zero: {shown(text)}", f"write {plain}")
    if len(digits) > _MOST_DIGITS:
        raise Unreadable(
            "number-too-large", f"is too large: {shown(text)}", "write a shorter number"
        )
    return text


def _no_number(text: str, digits: str) -> Unreadable:
    before, _, after = digits.replace("_", "").partition(".")
    do = "write digits, with a point for the decimals"
    if before + after and _DIGITS.issuperset(before + after):
        plain = (before.lstrip("0") or "0") + ("." + after if after else "")
        do = f"write {text[: -len(digits)]}{plain}"
    elif "," in digits:
        do = "write a point for the decimals, and nothing between thousands"
    return Unreadable("not-a-number", f"is not a number: {shown(text)}", do)


def whole(text: str) -> int:
    """Return a whole number.

    >>> whole("12")
    12

    Raises:
        Unreadable: *text* is no number, or not a whole one.
    """
    what = f"must be a whole number, not {shown(text)}"
    try:
        digits = number_text(text)
    except Unreadable as error:
        if error.code == "number-too-large" and "." not in text and len(text) < 1000:
            return int(text)  # exact, and refused by the range of its field, which says more
        if error.code == "leading-zero":
            raise
        raise Unreadable("not-a-whole-number", what, error.do) from None
    if "." in digits:
        do = f"write {digits.partition('.')[0]} or another whole number"
        raise Unreadable("not-a-whole-number", what, do)
    return int(digits)


# ---------------------------------------------------------------- units

#: Unit -> (factor, power of ten) to the base unit of its family.
_Family = dict[str, tuple[int, int]]

_TIME: _Family = {
    "ns": (1, -9), "us": (1, -6), "µs": (1, -6), "ms": (1, -3), "s": (1, 0), "min": (60, 0),
    "h": (3600, 0), "d": (86_400, 0), "day": (86_400, 0), "days": (86_400, 0),
}  # fmt: skip
_BYTES: _Family = {
    "bytes": (1, 0), "B": (1, 0), "kB": (1, 3), "MB": (1, 6), "GB": (1, 9), "TB": (1, 12),
    "KiB": (2**10, 0), "MiB": (2**20, 0), "GiB": (2**30, 0), "TiB": (2**40, 0),
}  # fmt: skip
#: Unit of a reading -> the units that it may be given in.
_FAMILIES: dict[str, _Family] = {
    "%": {"%": (1, 0)},
    "°C": {"°C": (1, 0), "C": (1, 0)},
    "MHz": {"Hz": (1, -6), "kHz": (1, -3), "MHz": (1, 0), "GHz": (1, 3)},
    "W": {"mW": (1, -3), "W": (1, 0), "kW": (1, 3)},
    "MT/s": {"MT/s": (1, 0), "GT/s": (1, 3)},
}
#: What people write -> what is meant by it.
_MEANT = {
    word: unit
    for unit, words in (
        ("s", "sec secs second seconds"), ("ms", "msec millis"), ("min", "minute minutes mins"),
        ("h", "hour hours hr hrs"), ("min or ms", "m"), ("bytes", "byte b"),
        ("kB or KiB", "K KB kb"), ("MB or MiB", "M mb Mb"), ("GB or GiB", "G gb Gb"),
        ("°C", "c °c ℃ deg celsius Celsius"), ("W", "w watt watts Watt"), ("MHz", "mhz Mhz"),
        ("GHz", "ghz Ghz"), ("%", "percent pct"), ("MT/s", "MT MTs mt/s"),
    )
    for word in words.split()
}  # fmt: skip


def _family(unit: str) -> _Family:
    if unit in _TIME:
        return _TIME
    if unit in _BYTES:
        return _BYTES
    return _FAMILIES.get(unit) or {unit: (1, 0)}


def _parts(text: str) -> list[tuple[str, str]]:
    """Split ``1 min 30 s`` into (number as written, unit); empty where it does not begin so."""
    parts: list[tuple[str, str]] = []
    rest = text.strip(" ")
    while rest:
        if rest.lstrip("+-.")[:1] not in _DIGITS:
            return []
        cut = 1
        while cut < len(rest) and (rest[cut] in _DIGITS or rest[cut] in "._,"):
            cut += 1
        figure, rest = rest[:cut], rest[cut:].lstrip(" ")
        cut = 0
        while cut < len(rest) and rest[cut] not in _DIGITS and rest[cut] not in " +-.":
            cut += 1
        parts.append((figure, rest[:cut]))
        rest = rest[cut:].lstrip(" ")
    return parts


def _one(figure: str, unit: str, family: _Family, into: tuple[int, int]) -> float:
    """Return *figure* *unit* in the unit of size *into*, rounded once where that can be."""
    try:
        text = number_text(figure)
    except Unreadable as error:
        is_number = error.do.startswith("write ") and error.do[6:7] in "+-0123456789"
        do = f"{error.do} {unit}" if is_number else error.do
        raise Unreadable(error.code, error.what, do) from None
    if unit not in family:
        meant = _MEANT.get(unit, "")
        spelt = ", ".join(_spelt(family))
        if meant.split(" ")[0] not in family:
            meant = f"one of {spelt}" if "," in spelt else spelt
        raise Unreadable("unknown-unit", f"has the unknown unit {shown(unit)}", f"write {meant}")
    factor, power = family[unit]
    number = float(f"{text}e{power - into[1]}")
    return number if factor == into[0] else number * factor / into[0]


def _spelt(family: _Family) -> list[str]:
    """Return one spelling of each unit of *family*."""
    seen: dict[tuple[int, int], str] = {}
    for unit, size in family.items():
        seen.setdefault(size, unit)
    return list(seen.values())


@lru_cache(maxsize=1024)
def length_s(text: str) -> float:
    """Return a length of time in seconds.

    >>> length_s("1 min 30 s"), length_s("1.5 h"), length_s("500 ms")
    (90.0, 5400.0, 0.5)

    Raises:
        Unreadable: No unit, an unknown one, units not from large to small, or no number.
            ``1:30`` is refused: it may be minutes or hours.
    """
    if ":" in text:
        raise _clock_form(text)
    parts = _parts(text)
    if not parts:
        raise Unreadable(
            "not-a-quantity", f"is not a length of time: {shown(text)}", "write 30 s, or 1 min 30 s"
        )
    total, before = 0.0, float("inf")
    for place, (figure, unit) in enumerate(parts):
        if not unit:
            number_text(figure)
            raise Unreadable(
                "unit-needed",
                f"needs a unit: {shown(text)} has none",
                f"write {figure} s, {figure} min or {figure} h",
            )
        seconds = _one(figure, unit, _TIME, (1, 0))
        size = _one("1", unit, _TIME, (1, 0))
        inner = place < len(parts) - 1
        if size >= before or (inner and "." in figure) or (len(parts) > 1 and figure[0] in "+-"):
            raise Unreadable(
                "not-a-quantity",
                f"is not a length of time: {shown(text)}",
                "write the parts from large to small, each unit once, as in 1 min 30 s",
            )
        total, before = total + seconds, size
    return total


def _clock_form(text: str) -> Unreadable:
    first, _, second = text.strip().partition(":")
    if _DIGITS.issuperset(first + second) and 0 < len(first) < 5 and 0 < len(second) < 3:
        a, b = first.lstrip("0") or "0", second.lstrip("0") or "0"
        return Unreadable(
            "unit-needed",
            f"can mean {a} min {b} s or {a} h {b} min: {text!r}",
            f"write {a} min {b} s, or {a} h {b} min",
        )
    return Unreadable(
        "not-a-quantity", f"is not a length of time: {shown(text)}", "write 30 s, or 1 min 30 s"
    )


@lru_cache(maxsize=1024)
def quantity(text: str, unit: str) -> float:
    """Return a quantity in *unit*; an empty *unit* takes a bare number only.

    >>> quantity("2.4 GHz", "MHz"), quantity("45 C", "°C"), quantity("512 MiB", "GiB")
    (2400.0, 45.0, 0.5)

    Raises:
        Unreadable: No number, no unit, or a unit of another family.
    """
    parts = _parts(text)
    if not unit:
        if len(parts) == 1 and parts[0][1]:
            figure = number_text(parts[0][0])
            raise Unreadable("no-unit-here", f"has no unit: {shown(text)}", f"write {figure}")
        return float(number_text(text))
    if len(parts) != 1:
        raise Unreadable("not-a-quantity", f"is not a quantity: {shown(text)}", f"write 5 {unit}")
    figure, written = parts[0]
    family = _family(unit)
    if not written:
        number_text(figure)
        raise Unreadable(
            "unit-needed", f"needs a unit: {shown(text)} has none", f"write {figure} {unit}"
        )
    return _one(figure, written, family, family[unit])


@lru_cache(maxsize=1024)
def share(text: str) -> float:
    """Return a share written in per cent, as a fraction.

    >>> share("5.7 %")
    0.057

    Raises:
        Unreadable: It is not a number of per cent.
    """
    quantity(text, "%")
    return float(_parts(text)[0][0] + "e-2")


def span(seconds: float) -> str:
    """Return a length of time in its two largest units.

    >>> span(3723.0), span(41.2)
    ('1 h 2 min', '41 s')
    """
    rounded = round(seconds)
    if rounded < 60:
        return f"{rounded} s"
    minutes, rest = divmod(rounded, 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
