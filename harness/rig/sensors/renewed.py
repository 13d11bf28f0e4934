"""A source that is opened again after it failed: a driver was loaded anew, a core came back.

Pure but for its source. What is opened again must be the same thing. Numbers of chips change,
so the source is looked for by what lasts; where another one is found in its place it gives
nothing, and says what it was bound to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from harness.rig.readings import Reading
from harness.rig.sensors.source import Absent, Source, Unreadable

#: So long a broken source is left alone: looking for it costs more than a look at it, seconds.
REST_S = 5.0


class Renewed:
    """A source, made anew after a failure.

    Args:
        source: As it was made first.
        make: Makes it again.
    """

    def __init__(self, source: Source, make: Callable[[], Source]) -> None:
        self.names, self.each_tick = source.names, source.each_tick
        self.where = source.where
        self._source, self._make = source, make
        self._failure: OSError | Unreadable | None = None
        self._failed_s = 0.0

    def read(self, at_s: float) -> Mapping[str, Reading]:
        """Return its readings.

        Raises:
            OSError: it failed, or does not come back; the first failure is told until it does.
            Unreadable: another one answers in its place.
        """
        if self._failure is not None:
            if at_s - self._failed_s < REST_S:
                raise self._failure.with_traceback(None)  # it would grow at every look
            self._failed_s = at_s
            self._source = self._again(self._failure)
            self._failure = None
        try:
            return self._source.read(at_s)
        except OSError as error:
            self._failure, self._failed_s = error, at_s
            raise

    def _again(self, failure: OSError | Unreadable) -> Source:
        try:
            made = self._make()
        except OSError:
            raise failure.with_traceback(None) from None
        if isinstance(made, Absent):
            raise failure.with_traceback(None)
        if made.where != self.where:
            why = f"another sensor answers in place of {self.where}"
            self._failure = Unreadable(why, raw=made.where)
            raise self._failure
        return made


def renewed(make: Callable[[], Source]) -> Callable[[], Source]:
    """Return what makes the source of *make*, renewed; one that is absent stays so."""

    def made() -> Source:
        source = make()
        return source if isinstance(source, Absent) else Renewed(source, make)

    return made
