"""What a bench saw while it waited or while a command ran: crossings, not samples.

Pure. The bench is handed a watch, feeds it samples, and answers with what the watch said.
The predicates themselves are in ``harness.rules.watches``; the bench only knows these
shapes. The rehearsed bench reads ``gates``, ``guards`` and ``limits`` off the watch and
works the crossing out in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from harness.plan.document import Gate, Guard, Limit
from harness.rig.readings import Sample


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
class GateGaveUp:
    """One gate did not hold within its time."""

    gate: int  #: its place in the plan's gates, from 0
    reading: str
    bound: str
    value: float | bool | str | None  #: the last value, None where not measured
    unit: str
    why: str | None
    waited_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Woken:
    """The wait was broken off: a request came in, or the runner is to stop."""

    waited_s: float


WaitEnd = GatesOpened | GateGaveUp | LimitBreached | Woken


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


class WaitWatch(Protocol):
    """Decides, sample by sample, when a wait is over. Pure; made anew for each wait."""

    gates: tuple[Gate, ...]
    limits: tuple[Limit, ...]

    def feed(
        self, sample: Sample, *, waited_s: float
    ) -> GatesOpened | GateGaveUp | LimitBreached | None:
        """Take one sample; return how the wait ended, or None to go on."""


class PassWatch(Protocol):
    """Watches one pass, sample by sample. Pure; made anew for each pass."""

    guards: tuple[Guard, ...]
    limits: tuple[Limit, ...]

    def feed(self, sample: Sample, *, into_s: float) -> LimitBreached | None:
        """Take one sample; a breach returned means: end the command at once."""

    def breaches(self, *, wall_s: float) -> tuple[GuardBreached, ...]:
        """Return the guards that were breached over the whole pass."""
