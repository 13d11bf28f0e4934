"""How a frame log may be declared: what its columns' names say, which signs may stand in it.

Pure. One rule for a plan and for a file that is read by itself, so that what a check lets
through is not refused after the pass.
"""

from __future__ import annotations

#: Ways of writing a unit of frame times, lower case -> the unit.
SPELLINGS: dict[str, str] = {
    "s": "s",
    "sec": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "ms": "ms",
    "msec": "ms",
    "millisecond": "ms",
    "milliseconds": "ms",
    "us": "us",
    "\N{MICRO SIGN}s": "us",
    "\N{GREEK SMALL LETTER MU}s": "us",
    "usec": "us",
    "microsecond": "us",
    "microseconds": "us",
    "ns": "ns",
    "nsec": "ns",
    "nanosecond": "ns",
    "nanoseconds": "ns",
}

_RATE_WORDS = frozenset(("fps", "rate", "hz", "framerate"))
_PREFIXES = "mun\N{MICRO SIGN}\N{GREEK SMALL LETTER MU}"
_APOSTROPHES = "'\N{RIGHT SINGLE QUOTATION MARK}"
_SIGNS_OF_NUMBERS = '"+-'  # and the quotation mark, which is no separator
_SPACES = "\t\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}"


def words(name: str) -> tuple[str, ...]:
    """Return the words of a column's name, lower case, also of one written in one word.

    >>> words("Frame_MS"), words("FrameTimeUs"), words("FPSNow"), words("t (mS)")
    (('frame', 'ms'), ('frame', 'time', 'us'), ('fps', 'now'), ('t', 'ms'))
    """
    parted = "".join(
        " " + c if _begins(name, place) else c if c.isalnum() or c == "#" else " "
        for place, c in enumerate(name)
        if c not in _APOSTROPHES  # the s after one is no unit
    )
    return tuple(parted.lower().split())


def _begins(name: str, place: int) -> bool:
    """Return whether a capital letter begins a word though nothing stands before it."""
    if not place or not name[place].isupper():
        return False
    before, after = name[place - 1], name[place + 1 : place + 2]
    if before.isupper():
        return after.islower()
    unit = name[place] == "S" and before in _PREFIXES and not after.isalpha()
    return before.isalnum() and not unit


def unit_said(name: str) -> str | None:
    """Return the unit of time that a column's name ends with, if it has another word too.

    >>> unit_said("frame_ms"), unit_said("t (µs)"), unit_said("frames"), unit_said("s")
    ('ms', 'us', None, None)
    >>> unit_said("frames per second")
    """
    parts = words(name)
    if len(parts) < 2 or _is_per_time(name, parts):
        return None
    return SPELLINGS.get(parts[-1])


def says_rate(name: str) -> bool:
    """Return whether a column holds rates by its name, not times.

    >>> says_rate("CurrentFPS"), says_rate("framesPerSecond"), says_rate("ms per frame")
    (True, True, False)
    """
    parts = words(name)
    return _is_per_time(name, parts) or bool(_RATE_WORDS & set(parts) and unit_said(name) is None)


def _is_per_time(name: str, parts: tuple[str, ...]) -> bool:
    """Return whether a name ends with so many in a unit of time: ``per second``, ``1/s``.

    A slash alone does not say it: a quantity over its unit (``t/ms``) is written so too.
    """
    if len(parts) < 2 or parts[-1] not in SPELLINGS:
        return False
    return parts[-2] == "per" or ("/" in name and parts[-2] in ("frames", "1"))


def may_separate(text: str) -> bool:
    r"""Return whether *text* is one sign that may stand between fields, or in a number.

    No digit, no letter and no sign of a number: those would change numbers, not part them.

    >>> may_separate(";"), may_separate("\t"), may_separate("0"), may_separate("-")
    (True, True, False, False)
    """
    return (
        len(text) == 1
        and not text.isalnum()
        and text not in _SIGNS_OF_NUMBERS
        and (text.isprintable() or text in _SPACES)
    )
