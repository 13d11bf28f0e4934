"""Every reading of a rig, by name, whatever becomes of one of its sources.

Pure but for its sources.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from harness.rig.quantities import QUANTITIES
from harness.rig.readings import Reading, Sample, not_measured
from harness.rig.sensors.source import Source

NO_SOURCE = "nothing on this rig reads it"
_RAW_LENGTH = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the table of readings: the reading, and where it comes from."""

    reading: Reading
    where: str


class Sensors:
    """The readings of one rig.

    The first source that offers a name gives it. ``failures`` counts, by name, how often a
    source failed since the start.

    Args:
        sources: In order of preference.
        now_s: The steady clock.
    """

    def __init__(self, sources: Sequence[Source], *, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._sources: list[tuple[Source, tuple[str, ...]]] = []
        self.failures: dict[str, int] = {}
        taken: set[str] = set()
        for source in sources:
            mine = tuple(name for name in source.names if name not in taken)
            taken.update(mine)
            if mine:
                self._sources.append((source, mine))

    @property
    def names(self) -> tuple[str, ...]:
        """Return what is read once a second."""
        return tuple(name for source, mine in self._sources if source.each_tick for name in mine)

    def sample(self, also: Sequence[str] = ()) -> Sample:
        """Return everything that is read once a second, and those of *also*."""
        at_s = self._now_s()
        readings: dict[str, Reading] = {}
        wanted = set(also)
        for source, mine in self._sources:
            if source.each_tick or not wanted.isdisjoint(mine):
                self._look(source, mine, at_s, readings)
        for name in also:
            if name not in readings:
                readings[name] = _unknown(name)
        return Sample(at_s=at_s, end_s=self._now_s(), readings=readings)

    def read(self, names: Sequence[str]) -> tuple[Reading, ...]:
        """Return one reading of each name, in that order."""
        at_s = self._now_s()
        readings: dict[str, Reading] = {}
        wanted = set(names)
        for source, mine in self._sources:
            if not wanted.isdisjoint(mine):
                self._look(source, mine, at_s, readings)
        return tuple(readings.get(name) or _unknown(name) for name in names)

    def table(self) -> tuple[Line, ...]:
        """Return a line for every quantity there is, in the order of their table."""
        where = {name: source.where for source, mine in self._sources for name in mine}
        extra = tuple(name for name in where if name not in QUANTITIES)
        names = (*QUANTITIES, *extra)
        return tuple(
            Line(reading=reading, where=where.get(reading.name, "")) for reading in self.read(names)
        )

    def _look(
        self, source: Source, mine: tuple[str, ...], at_s: float, readings: dict[str, Reading]
    ) -> None:
        found: Mapping[str, Reading]
        try:
            found = source.read(at_s)
        except Exception as error:  # noqa: BLE001 - whatever a source raises costs its readings only
            why, raw = _failure(error)
            found = {name: _lost(name, why, raw) for name in mine}
            for name in mine:
                self.failures[name] = self.failures.get(name, 0) + 1
        for name in mine:
            readings[name] = found.get(name) or _lost(name, "its source left it out", None)


def _failure(error: Exception) -> tuple[str, str | None]:
    """Return why a source failed, in words, and the raw text."""
    if isinstance(error, OSError) and error.strerror:
        return f"cannot be read: {error.strerror}", error.filename and str(error.filename)
    text = str(error)
    return f"cannot be read: {type(error).__name__}", text[:_RAW_LENGTH] if text else None


def _lost(name: str, why: str, raw: str | None) -> Reading:
    if name in QUANTITIES:
        return not_measured(name, why, raw=raw)
    return Reading(name=name, unit="", why=why, raw=raw)


def _unknown(name: str) -> Reading:
    return _lost(name, NO_SOURCE if name in QUANTITIES else "there is no such reading", None)
