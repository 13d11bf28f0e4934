"""Kinds of number: counts, lengths of time, shares, sizes, times of the day.

Pure. Every number has a range, and every number with a dimension a unit.
"""

from __future__ import annotations

from collections.abc import Callable

from yaml.nodes import Node

from harness.plan.kinds import Desk, Kind, text_of
from harness.units import Unreadable, length_s, quantity, share, shown, span, whole


class Whole(Kind[int]):
    """A count: a whole number within a range, both ends included."""

    __slots__ = ("high", "low")

    def __init__(self, low: int, high: int) -> None:
        self.low, self.high = low, high

    def __call__(self, node: Node, desk: Desk, path: str) -> int | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "a whole number")
        if text is None:
            return None
        try:
            count = whole(text)
        except Unreadable as error:
            desk.error(node, error.code, f"{path} {error.what}", error.do)
            return None
        do = f"write a whole number from {self.low} to {self.high}"
        if count < self.low:
            what = f"{path} must be at least {self.low}, and is {shown(text)[1:-1]}"
            desk.error(node, "number-too-small", what, do)
            return None
        if count > self.high:
            what = f"{path} is too large: {shown(text)[1:-1]}, and {self.high} is the most"
            desk.error(node, "number-too-large", what, do)
            return None
        return count


class _Measure(Kind[float]):
    """A number with a unit, within a range that is told with it."""

    __slots__ = ("high", "low", "noun", "read", "show")

    def __init__(
        self,
        noun: str,
        read: Callable[[str], float],
        show: Callable[[float], str],
        *,
        low: float,
        high: float,
    ) -> None:
        self.noun, self.read, self.show = noun, read, show
        self.low, self.high = low, high

    def __call__(self, node: Node, desk: Desk, path: str) -> float | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, self.noun)
        if text is None:
            return None
        try:
            value = self.read(text)
        except Unreadable as error:
            desk.error(node, error.code, f"{path} {error.what}", error.do)
            return None
        if self.low <= value <= self.high:
            return value
        low, high = self.show(self.low), self.show(self.high)
        code, what = "number-too-small", f"{path} must be at least {low}, and is {shown(text)}"
        if value > self.high:
            code, what = "number-too-large", f"{path} is too large: {shown(text)}, {high} at most"
        desk.error(node, code, what, f"write {self.noun} from {low} to {high}")
        return None


_WEEK_S = 7 * 86_400.0


class Length(_Measure):
    """A length of time, in seconds."""

    __slots__ = ()

    def __init__(self, *, low: float = 0.0, high: float = _WEEK_S) -> None:
        super().__init__("a length of time", length_s, _span, low=low, high=high)


def _span(seconds: float) -> str:
    if seconds >= 86_400 and seconds % 86_400 == 0:
        return f"{seconds / 86_400:g} days"
    return span(seconds) if seconds >= 1 or not seconds else f"{seconds * 1000:g} ms"


class Share(_Measure):
    """A share, written in per cent, as a fraction."""

    __slots__ = ()

    def __init__(self, *, low: float = 0.0, high: float = 1.0) -> None:
        super().__init__("a share", share, lambda part: f"{part * 100:g} %", low=low, high=high)


class Size(_Measure):
    """A size in bytes, more than nothing."""

    __slots__ = ()

    def __init__(self) -> None:
        super().__init__(
            "a size",
            lambda text: quantity(text, "bytes"),
            lambda size: f"{size:g} bytes",
            low=1.0,
            high=2.0**50,
        )


_DAY_MINUTES = 24 * 60


def minute_of_day(text: str) -> int | None:
    """Return the minute of the day of ``HH:MM``, or None.

    >>> minute_of_day("22:30"), minute_of_day("25:30")
    (1350, None)
    """
    hours, colon, minutes = text.partition(":")
    if not (colon and hours.isascii() and hours.isdigit() and minutes.isascii()):
        return None
    if not (minutes.isdigit() and len(minutes) == 2 and len(hours) <= 2):
        return None
    minute = int(hours) * 60 + int(minutes)
    return minute if int(minutes) < 60 and minute < _DAY_MINUTES else None


class TimeOfDay(Kind[int]):
    """A time of the day, ``HH:MM``, as minutes since midnight."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> int | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "a time of the day")
        if text is None:
            return None
        minute = minute_of_day(text)
        if minute is None:
            what = f"{path} is not a time of the day: {shown(text)}"
            do = 'write hours from 00 to 23 and minutes from 00 to 59, as in "22:30"'
            desk.error(node, "bad-time", what, do)
        return minute


class Hours(Kind[tuple[int, int]]):
    """A part of the day, ``HH:MM-HH:MM``, as minutes since midnight; may pass midnight."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> tuple[int, int] | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "hours of the day")
        if text is None:
            return None
        first, _, second = text.replace("–", "-").partition("-")
        start, end = minute_of_day(first.strip()), minute_of_day(second.strip())
        if start is None or end is None or start == end:
            what = f"{path} are not hours of the day: {shown(text)}"
            desk.error(node, "bad-time", what, 'write them as in "08:00-22:00"')
            return None
        return start, end


_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Days(Kind[tuple[str, ...]]):
    """A day of the week or a range of them, ``mon-fri``, as the days it holds."""

    __slots__ = ()

    def __call__(self, node: Node, desk: Desk, path: str) -> tuple[str, ...] | None:
        """Return the value of *node*, as ``Kind`` says."""
        text = text_of(node, desk, path, "days")
        if text is None:
            return None
        first, dash, last = (part.strip() for part in text.replace("–", "-").partition("-"))
        if first not in _DAYS or (dash and last not in _DAYS):
            what = f"{path} are not days: {shown(text)}"
            do = f"write days as {', '.join(_DAYS)}, or a range as mon-fri"
            desk.error(node, "bad-days", what, do)
            return None
        start = _DAYS.index(first)
        count = (_DAYS.index(last or first) - start) % 7 + 1
        return tuple(_DAYS[(start + day) % 7] for day in range(count))
