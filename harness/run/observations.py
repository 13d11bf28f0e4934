"""What happened: past tense, frozen, the only input of ``decide``.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.rig.crossings import WaitEnd
from harness.rig.readings import Reading
from harness.rig.tasks import CommandEnd, Hold, LevelReport, PassReport, Release
from harness.rules.judgement import Measured, ReadingSummary
from harness.run.records import BundleRef, Request


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerCameUp:
    """A runner took the run up. ``bundle`` keeps what an interrupted attempt left."""

    boot: str
    fingerprint: Mapping[str, str]
    ended: tuple[str, ...] = ()
    survivors: tuple[str, ...] = ()
    bundle: BundleRef | None = None
    holds: tuple[Hold, ...] = ()
    releases: tuple[Release, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WentOn:
    """Nothing happened: the record that was due may be written."""

    boot: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestCame:
    """A person asked for something."""

    request: Request
    boot: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReported:
    """A level's command ended, or a level was only read."""

    condition: str
    level: str
    report: LevelReport


@dataclass(frozen=True, slots=True, kw_only=True)
class PutBackReported:
    """A put_back command ended."""

    condition: str
    level: str
    end: CommandEnd


@dataclass(frozen=True, slots=True, kw_only=True)
class SettleOver:
    """The rig was left alone for so many seconds."""

    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitOver:
    """The wait before a pass is over. ``fingerprint`` and ``readings`` are of that moment."""

    cell: str
    end: WaitEnd
    fingerprint: Mapping[str, str]
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PassOver:
    """A pass is over, its files are kept, its captures are read."""

    report: PassReport
    measured: Measured
    bundle: BundleRef | None
    readings: tuple[ReadingSummary, ...]


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
    | PassOver
    | StopCame
)
