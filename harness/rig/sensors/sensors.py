"""Every reading of a rig, by name, whatever becomes of one of its sources.

Pure but for its sources. What comes in is held against its own past here, whatever source it
is from: see ``harness.rig.sensors.doubts``.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from harness.rig.quantities import QUANTITIES
from harness.rig.readings import Reading, Sample, not_measured
from harness.rig.sensors.doubts import Doubts
from harness.rig.sensors.source import Absent, Device, Noted, Source, Unreadable

NO_SOURCE = "nothing on this rig reads it"
_RAW_LENGTH = 120
_Offer = tuple[Source, tuple[str, ...]]  # a source, and those of its names that it gives
#: What an error of the system says about a sensor, errno(3). hwmon answers ENODATA for an
#: input that is switched off.
_MEANT = {
    errno.ENODATA: "switched off",
    errno.EOPNOTSUPP: "not supported",
    errno.ENOSYS: "not supported",
    errno.ENOTTY: "not supported",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the table of readings: the reading, where it is from, and of which device."""

    reading: Reading
    where: str
    identity: str = ""


class Sensors:
    """The readings of one rig.

    The first source that offers a name gives it; one that is absent only where no other does.
    ``failures`` counts, by name, how often a source failed since the start.

    Args:
        sources: In order of preference.
        now_s: The steady clock.
    """

    def __init__(self, sources: Sequence[Source], *, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._sources: list[_Offer] = []
        self._chosen: dict[tuple[str, ...], list[_Offer]] = {}  # by the names asked for as well
        self.failures: dict[str, int] = {}
        self._in_a_row: dict[str, int] = {}
        self._doubts = Doubts()
        taken: set[str] = set()
        for source in sorted(sources, key=lambda each: isinstance(each, Absent)):
            mine = tuple(name for name in source.names if name not in taken)
            taken.update(mine)
            if mine:
                self._sources.append((source, mine))

    @property
    def names(self) -> tuple[str, ...]:
        """Return what is read once a second."""
        return tuple(name for source, mine in self._sources if source.each_tick for name in mine)

    @property
    def device_lost(self) -> str | None:
        """Return which device answers no more, as its last look showed; None: all answer."""
        lost = [each.lost for each, _ in self._sources if isinstance(each, Device)]
        return "; ".join(dict.fromkeys(text for text in lost if text is not None)) or None

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what else a person should know of the sources, as of their last look."""
        noted = (each for each, _ in self._sources if isinstance(each, Noted))
        return tuple(note for each in noted for note in each.notes)

    def sample(self, also: Sequence[str] = ()) -> Sample:
        """Return everything that is read once a second, and those of *also*."""
        at_s = self._now_s()
        readings: dict[str, Reading] = {}
        also = tuple(also)
        chosen = self._chosen.get(also)
        if chosen is None:
            chosen = self._chosen[also] = self._choose(also)
        for source, mine in chosen:
            self._look(source, mine, at_s, readings)
        self._doubts.judge(readings, at_s=at_s)
        for name in also:
            if name not in readings:
                readings[name] = _unknown(name)
        return Sample(at_s=at_s, end_s=self._now_s(), readings=readings)

    def _choose(self, also: tuple[str, ...]) -> list[_Offer]:
        wanted = set(also)
        return [
            (source, mine)
            for source, mine in self._sources
            if source.each_tick or not wanted.isdisjoint(mine)
        ]

    def read(self, names: Sequence[str]) -> tuple[Reading, ...]:
        """Return one reading of each name, in that order."""
        at_s = self._now_s()
        readings: dict[str, Reading] = {}
        wanted = set(names)
        for source, mine in self._sources:
            if not wanted.isdisjoint(mine):
                self._look(source, mine, at_s, readings)
        self._doubts.judge(readings, at_s=at_s)
        return tuple(readings.get(name) or _unknown(name) for name in names)

    def table(self) -> tuple[Line, ...]:
        """Return a line for every quantity there is, in the order of their table."""
        where = {name: source.where for source, mine in self._sources for name in mine}
        devices = {
            name: source.identity
            for source, mine in self._sources
            if isinstance(source, Device)
            for name in mine
        }
        extra = tuple(name for name in where if name not in QUANTITIES)
        names = (*QUANTITIES, *extra)
        return tuple(
            Line(
                reading=reading,
                where=where.get(reading.name, ""),
                identity=devices.get(reading.name, ""),
            )
            for reading in self.read(names)
        )

    def _look(
        self, source: Source, mine: tuple[str, ...], at_s: float, readings: dict[str, Reading]
    ) -> None:
        found: Mapping[str, Reading]
        try:
            found = source.read(at_s)
        except Exception as error:  # noqa: BLE001 - whatever a source raises costs its readings only
            why, raw = _failure(error)
            row = self._in_a_row[mine[0]] = self._in_a_row.get(mine[0], 0) + 1
            why = f"{why}, {row} times in a row" if row > 1 else why
            found = {name: _lost(name, why, raw) for name in mine}
            for name in mine:
                self.failures[name] = self.failures.get(name, 0) + 1
        else:
            if self._in_a_row:
                self._in_a_row.pop(mine[0], None)
        for name in mine:
            readings[name] = found.get(name) or _lost(name, "its source left it out", None)


def _failure(error: Exception) -> tuple[str, str | None]:
    """Return why a source failed, in words, and the raw text."""
    if isinstance(error, Unreadable):
        return error.why, error.raw
    if isinstance(error, OSError) and error.strerror:
        meant = _MEANT.get(error.errno or 0, "cannot be read")
        return f"{meant}: {error.strerror}", error.filename and str(error.filename)
    text = str(error)
    return f"cannot be read: {type(error).__name__}", text[:_RAW_LENGTH] if text else None


def _lost(name: str, why: str, raw: str | None) -> Reading:
    if name in QUANTITIES:
        return not_measured(name, why, raw=raw)
    return Reading(name=name, unit="", why=why, raw=raw)


def _unknown(name: str) -> Reading:
    return _lost(name, NO_SOURCE if name in QUANTITIES else "there is no such reading", None)
