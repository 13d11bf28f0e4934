"""What is kept for good: one frozen value per event and per decision.

Pure. Past tense. A decision (a verdict, a discard with its statistic and critical value,
an acceptance) is a record of its own, so that folding the records never runs a rule.
A record's ``VERSION`` goes up when its fields change meaning; old versions stay readable.

Readings, figures and the like are kept as the values of the stages that make them.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import ClassVar

from harness.rig.crossings import GuardBreached, LimitBreached
from harness.rig.readings import Reading
from harness.rig.tasks import CommandEnd
from harness.rules.judgement import Figure, ReadingSummary, Verdict


class CellState(enum.Enum):
    """Where a cell stands."""

    OPEN = "open"
    ACCEPTED = "accepted"
    SHORT = "short"  #: passes used up before enough were kept
    FAILED = "failed"  #: passes used up, none kept


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleRef:
    """Where the files of one attempt are kept.

    ``path`` is relative to the store's folder; ``sha256`` is of the bundle itself;
    ``members`` are (name, SHA-256, size in bytes) of the files in it.
    """

    path: str
    sha256: str
    members: tuple[tuple[str, str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStarted:
    """A run began. ``plan`` is the frozen plan as canonical JSON."""

    VERSION: ClassVar[int] = 1
    run: str
    plan: str
    plan_hash: str
    plan_file: str
    rig: str
    harness: str  #: version of the harness


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerStarted:
    """A runner took the run up, for the first time or again.

    ``ended`` names processes of an earlier runner that were found and ended.
    """

    VERSION: ClassVar[int] = 1
    ended: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupOpened:
    """A group of passes under one fingerprint began.

    ``fields`` is the fingerprint; ``changed`` says what differs from the group before.
    """

    VERSION: ClassVar[int] = 1
    group: int
    fields: tuple[tuple[str, str], ...]
    changed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockOpened:
    """Work began at one state of the hardware. ``block`` is its place in the plan's order."""

    VERSION: ClassVar[int] = 1
    block: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockClosed:
    """Every cell of the block has what this visit owes it, or is closed."""

    VERSION: ClassVar[int] = 1
    block: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundStarted:
    """A sweep over the cells of the block began; ``cells`` are their keys, in order."""

    VERSION: ClassVar[int] = 1
    round: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepAsked:
    """A person was asked to change the hardware.

    ``levels`` are (condition, level); ``say`` the plan's words; ``why`` is given when the
    step is asked again.
    """

    VERSION: ClassVar[int] = 1
    step: int
    levels: tuple[tuple[str, str], ...]
    say: tuple[str, ...]
    opens_case: bool
    reboot: bool
    boot: str = ""  #: the boot during which it was asked
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepConfirmed:
    """A person said that the step is done."""

    VERSION: ClassVar[int] = 1
    step: int
    by: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RigSettled:
    """The rig was left alone for as long as the plan says."""

    VERSION: ClassVar[int] = 1
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelOrdered:
    """A level is about to be brought about by its command."""

    VERSION: ClassVar[int] = 1
    condition: str
    level: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelVerified:
    """A level is in force, as far as its ``expect`` can be read."""

    VERSION: ClassVar[int] = 1
    condition: str
    level: str
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelNotMet:
    """A level could not be brought about, or what it is expected to change says otherwise."""

    VERSION: ClassVar[int] = 1
    condition: str
    level: str
    fault: str
    reason: str
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPutBack:
    """What a level had changed was put back, or could not be (``problem``)."""

    VERSION: ClassVar[int] = 1
    condition: str
    level: str
    problem: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassStarted:
    """A pass is about to be launched: its gates held, or one gave up and the plan marks.

    ``new_fields`` are fingerprint fields first seen in this group.
    """

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    warm_up: bool
    group: int
    block: int
    round: int
    waited_s: float
    readings: tuple[Reading, ...]
    new_fields: tuple[tuple[str, str], ...] = ()
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PassSkipped:
    """A gate gave up and the plan skips: the attempt is spent and failed."""

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    warm_up: bool
    group: int
    fault: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PassEnded:
    """A pass is over, and its files are kept. ``end`` is None where nobody saw it end."""

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    end: CommandEnd | None
    failed_step: str | None = None
    bundle: BundleRef | None = None
    figures: tuple[Figure, ...] = ()
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    frames: int | None = None
    readings: tuple[ReadingSummary, ...] = ()
    guards: tuple[GuardBreached, ...] = ()
    limit: LimitBreached | None = None
    slept_s: float = 0.0
    harness_cpu_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PassJudged:
    """The verdict on a pass by itself."""

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    verdict: Verdict
    reason: str
    fault: str | None = None
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PassDiscarded:
    """A discard rule took a kept pass out; ``discarded`` is false where it only marks."""

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    rule: str
    on: str
    statistic: float
    critical: float
    passes: int
    discarded: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CellClosed:
    """Nothing more is measured in a cell. ``kept`` are the attempts that count."""

    VERSION: ClassVar[int] = 1
    cell: str
    state: CellState
    group: int
    kept: tuple[int, ...]
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CellReopened:
    """A person wants a cell measured again; its earlier passes are superseded, and kept."""

    VERSION: ClassVar[int] = 1
    cell: str
    superseded: tuple[int, ...]
    by: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RigHeld:
    """The rig does nothing more until a person releases it.

    ``changed`` are the fields of the fingerprint, with what they are now, that a release
    accepts; nothing else.
    """

    VERSION: ClassVar[int] = 1
    hold: str
    fault: str
    reason: str
    do: str
    changed: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RigReleased:
    """A person has put the rig right."""

    VERSION: ClassVar[int] = 1
    hold: str
    by: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestAnswered:
    """The runner answered a request; ``request`` is its number."""

    VERSION: ClassVar[int] = 1
    request: int
    accepted: bool
    answer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunPaused:
    """The runner was told to stop; the same command goes on."""

    VERSION: ClassVar[int] = 1
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFinished:
    """Every cell is closed."""

    VERSION: ClassVar[int] = 1
    accepted: int
    short: int
    failed: int


Record = (
    RunStarted
    | RunnerStarted
    | GroupOpened
    | BlockOpened
    | BlockClosed
    | RoundStarted
    | StepAsked
    | StepConfirmed
    | RigSettled
    | LevelOrdered
    | LevelVerified
    | LevelNotMet
    | LevelPutBack
    | PassStarted
    | PassSkipped
    | PassEnded
    | PassJudged
    | PassDiscarded
    | CellClosed
    | CellReopened
    | RigHeld
    | RigReleased
    | RequestAnswered
    | RunPaused
    | RunFinished
)


class RequestKind(enum.Enum):
    """What a person may ask of a run."""

    CONFIRM = "confirm"
    RERUN = "rerun"
    STOP = "stop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Something a person asked, as the request table keeps it; ``number`` counts up from 1.

    ``step`` is for CONFIRM; ``cells`` (keys) for RERUN.
    """

    number: int
    kind: RequestKind
    by: str
    note: str = ""
    step: int | None = None
    cells: tuple[str, ...] = ()
