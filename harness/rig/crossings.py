"""What a bench saw while it waited or while a command ran: crossings, not samples.

Pure. The bench is handed a watch, feeds it samples, and answers with what the watch said.
The predicates themselves are in ``harness.rules`` (gates, guards, limits); the bench only
knows these shapes. The rehearsed bench reads ``gates``, ``guards`` and ``limits`` off the watch and
works the crossing out in closed form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

from harness.plan.document import Bound, Gate, Guard, Limit
from harness.rig.readings import Sample

#: A gate's reading that was not measured for so long is lost, seconds: a sensor that misses a
#: few looks is not, and a driver that starts anew has come back by then. Our choice, no source.
LOST_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitBreached:
    """A limit was passed, or its reading was lost (``value`` is then None)."""

    reading: str
    unit: str
    bound: str  #: as a person reads it: ``at most 92 °C``
    value: float | None
    why: str | None  #: why there is no value
    at_s: float  #: seconds since the wait or the pass began


@dataclass(frozen=True, slots=True, kw_only=True)
class GatesOpened:
    """Every gate held for as long as it must."""

    waited_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """Where a part is heading: foretold by Newton's law, with an interval of 99 %.

    ``value_c`` is the temperature at ``by_s``, the last moment at which the gate could have
    been met; both instants are seconds since the wait began.
    """

    value_c: float
    low_c: float
    high_c: float
    by_s: float
    made_at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GateGaveUp:
    """One gate did not hold within its time, or cannot: ``floor`` then says why not."""

    gate: int  #: its place in the plan's gates, from 0
    reading: str
    bound: str
    value: float | bool | str | None  #: the last value, None where not measured
    unit: str
    why: str | None
    waited_s: float
    floor: Floor | None = None  #: it gave up early: the bound is out of reach
    lost: bool = False  #: its reading was not measured any more, which is no answer of the part


@dataclass(frozen=True, slots=True, kw_only=True)
class TooCold:
    """Every other gate holds, and the part is below the band of one that may preload it."""

    gate: int  #: its place in the plan's gates, from 0
    reading: str
    bound: str
    value: float
    unit: str
    waited_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Woken:
    """The wait was broken off: a request came in, or the runner is to stop."""

    waited_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceLost:
    """A device of the rig answers no more; ``what`` says which, with what was read last."""

    what: str
    waited_s: float


#: How a watch may end a wait.
WatchEnd = GatesOpened | GateGaveUp | TooCold | LimitBreached
WaitEnd = WatchEnd | Woken | DeviceLost


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What Newton's law, fitted to a wait so far, said at one moment of it.

    Instants are seconds since the wait began; intervals hold every law in the region of 99 %.
    ``reaches_s`` is when the bound was to be reached (None: nothing was said of it), between
    ``earliest_s`` and ``latest_s`` (None: perhaps never). ``end_c`` is what was foretold of
    the temperature at the moment at which the wait then ended.
    """

    made_at_s: float
    reaches_s: float | None
    earliest_s: float | None
    latest_s: float | None
    end_c: float
    low_c: float
    high_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """What was foretold of one gate, and beside it what came true.

    ``forecasts`` are the first that there was and the last by half of the gate's own time, in
    order of time; they may be one. That time is over when its bound is reached, or the wait.
    """

    gate: int  #: its place in the plan's gates, from 0
    reading: str
    bound: str
    unit: str
    forecasts: tuple[Forecast, ...]
    reached_s: float | None  #: since when the bound was met as the wait ended; None: it was not
    ended_s: float  #: when the wait ended
    value: float  #: the last value that was read


@dataclass(frozen=True, slots=True, kw_only=True)
class GuardBreached:
    """A guard did not hold during a pass."""

    guard: int  #: its place in the plan's guards, from 0
    reading: str
    bound: str
    share: float | None  #: of the measured samples, 0 to 1; None: reading never measured
    samples: int  #: how many samples failed
    measured: int  #: how many samples had a value
    worst: float | bool | str | None
    unit: str
    allowed: str = ""  #: as a person reads it: ``for 5 % of the pass``
    why: str | None = None  #: why there is no share
    seen: int = 0  #: how many samples there were
    longest_s: float = 0.0  #: the longest unbroken row of failed samples


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectNotMet:
    """A level's expectation that the best reading of a pass, under load, did not meet."""

    reading: str
    bound: str
    best: float | None  #: None: never measured under load
    unit: str
    samples: int  #: how many samples under load had a value
    why: str | None = None  #: why there is no value


class WaitWatch(Protocol):
    """Decides, sample by sample, when a wait is over. Pure; made anew for each wait."""

    gates: tuple[Gate, ...]
    limits: tuple[Limit, ...]
    lost_s: float  #: a gate's reading that was not measured for so long is lost, seconds

    def feed(self, sample: Sample, *, waited_s: float) -> WatchEnd | None:
        """Take one sample; return how the wait ended, or None to go on."""

    def looks(self) -> Iterator[float]:
        """Yield when it asks whether a bound is out of reach, seconds into the wait."""

    def foresees(
        self, gate: int, value_at: Callable[[float], float], *, at_s: float, by_s: float
    ) -> Floor | None:
        """Return what it would say at *at_s* of a reading known at every tick; None: nothing."""


class PassWatch(Protocol):
    """Watches one pass, sample by sample. Pure; made anew for each pass."""

    guards: tuple[Guard, ...]
    limits: tuple[Limit, ...]
    expects: tuple[Bound, ...]

    def feed(self, sample: Sample, *, into_s: float) -> LimitBreached | None:
        """Take one sample; a breach returned means: end the command at once."""

    def breaches(self, *, wall_s: float) -> tuple[GuardBreached, ...]:
        """Return the guards that were breached over the whole pass."""

    def not_met(self) -> tuple[ExpectNotMet, ...]:
        """Return what the levels expect and the best reading of the pass did not meet."""
