"""What happened: past tense, frozen, the only input of ``decide``.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from harness.rig.crossings import Foretold, LimitBreached, WaitEnd
from harness.rig.readings import Reading
from harness.rig.tasks import CommandEnd, Hold, LevelReport, PassReport, Release
from harness.rules.judgement import Measured, ReadingSummary
from harness.run.records import BundleRef, Clocks, Offer, Request


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerCameUp:
    """A runner took the run up. ``bundle`` keeps what an interrupted attempt left.

    ``offers`` are earlier cells that the plan allows to be taken; with them, ``fingerprint``
    has the titles' own fields too.
    """

    boot: str
    fingerprint: Mapping[str, str]
    unread: Mapping[str, str] = field(default_factory=dict)
    ended: tuple[str, ...] = ()
    survivors: tuple[str, ...] = ()
    given_back: tuple[str, ...] = ()
    sleep: str = ""
    bundle: BundleRef | None = None
    holds: tuple[Hold, ...] = ()
    releases: tuple[Release, ...] = ()
    offers: tuple[Offer, ...] = ()
    attended_by: str = ""  #: who started it at a terminal; empty: nobody there did
    clocks: Clocks | None = None
    last_at: datetime | None = None  #: the instant of the run's last entry before
    after: str = ""  #: the run whose runner had the rig last; empty: it is not known


@dataclass(frozen=True, slots=True, kw_only=True)
class WentOn:
    """Nothing happened: the record that was due may be written."""

    boot: str
    now: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestCame:
    """A person asked for something.

    ``fingerprint`` is the rig's, whole, where the run is finished and cells are to be
    measured again; a runner that takes up any other run has looked at it before. ``before``:
    it was put before this runner came up. ``alone``: no runner is at work, it is only answered.
    """

    request: Request
    boot: str
    fingerprint: Mapping[str, str] | None = None
    before: bool = False
    alone: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReported:
    """A level's command ended, or a level was only read."""

    condition: str
    level: str
    report: LevelReport


@dataclass(frozen=True, slots=True, kw_only=True)
class PutBackReported:
    """A put_back command ended. ``limit`` is what was passed meanwhile."""

    condition: str
    level: str
    end: CommandEnd
    limit: LimitBreached | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettleOver:
    """The rig was left alone for so many seconds."""

    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitOver:
    """The wait before a pass is over. ``fingerprint`` and ``readings`` are of that moment.

    ``unread`` says why fields of the fingerprint have no text.

    ``now`` is given where the pass is a reference pass; ``free`` is ``disk.free``.
    """

    cell: str
    end: WaitEnd
    fingerprint: Mapping[str, str]
    readings: tuple[Reading, ...]
    unread: Mapping[str, str] = field(default_factory=dict)
    reference: bool = False
    now: datetime | None = None
    free: Reading | None = None
    foretold: tuple[Foretold, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofOver:
    """The wait after a limit is over: how it ended, and the reading at that moment."""

    end: WaitEnd
    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class PassOver:
    """A pass is over, its files are kept, its captures are read."""

    report: PassReport
    measured: Measured
    bundle: BundleRef | None
    readings: tuple[ReadingSummary, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockMoved:
    """The clock of the day jumped, or the machine slept, for so many seconds, not in a pass."""

    by_s: float
    slept_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StopCame:
    """The runner was told to stop (a signal, or a person)."""

    reason: str


Observation = (
    RunnerCameUp
    | WentOn
    | RequestCame
    | LevelReported
    | PutBackReported
    | SettleOver
    | WaitOver
    | ProofOver
    | PassOver
    | ClockMoved
    | StopCame
)
