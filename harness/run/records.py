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

from harness.rig.crossings import (
    ExpectNotMet,
    Foretold,
    GateGaveUp,
    GuardBreached,
    LimitBreached,
)
from harness.rig.readings import Reading
from harness.rig.tasks import CommandEnd, OtherLoad
from harness.rules.judgement import Figure, HarnessCost, ReadingSummary, Verdict


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
    limit_from: str | None = None  #: whence the frozen plan has its limit, if not from its file


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocks:
    """Both clocks at one moment: seconds since 1970 (UTC), and on the steady clock of ``boot``.

    In one boot the one is ahead of the other by the same always, but for jumps.
    """

    boot: str
    day_s: float
    steady_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerStarted:
    """A runner took the run up, for the first time or again.

    ``ended`` names processes of an earlier runner that were found and ended, ``given_back``
    files of a title that still were what a pass had put in their place. ``sleep`` says what
    holds the machine's sleep off, or why nothing does; empty: nobody asked. ``attended_by`` is
    who started the runner at a terminal; empty: it was started by no person there. ``clocks`` is
    what the next runner tells a jump of the clock by. ``after`` is the run whose runner had the
    rig last, this one or another; empty: it is not known.
    """

    VERSION: ClassVar[int] = 1
    ended: tuple[str, ...] = ()
    given_back: tuple[str, ...] = ()
    sleep: str = ""
    attended_by: str = ""
    clocks: Clocks | None = None
    after: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupOpened:
    """A group of passes under one fingerprint began.

    ``fields`` is the fingerprint; ``changed`` says what differs from the group before;
    ``unread`` are fields without a text, and why.
    """

    VERSION: ClassVar[int] = 1
    group: int
    fields: tuple[tuple[str, str], ...]
    changed: tuple[str, ...] = ()
    unread: tuple[tuple[str, str], ...] = ()


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
    step is asked again. With ``attend`` nothing is to be changed: somebody is to stay with the
    rig for the first pass after a case was opened. With ``still`` neither: it is asked whether
    what was confirmed is so still; ``reopens`` says that putting it right would open the case.
    """

    VERSION: ClassVar[int] = 1
    step: int
    levels: tuple[tuple[str, str], ...]
    say: tuple[str, ...]
    opens_case: bool
    reboot: bool
    boot: str = ""  #: the boot during which it was asked
    why: str = ""
    attend: bool = False
    still: bool = False
    reopens: bool = False

    def touches(self, confirmed: StepConfirmed) -> bool:
        """Return whether the hardware was touched, by what was said when it was confirmed.

        Who had to open the case to put it right stays with the rig, and says so.
        """
        put_right = self.reopens and confirmed.attending
        return not self.attend and (not self.still or put_right)

    @property
    def stays(self) -> bool:
        """Return whether whoever confirms it must stay with the rig."""
        return self.opens_case or self.attend


@dataclass(frozen=True, slots=True, kw_only=True)
class StepConfirmed:
    """A person said that the step is done.

    ``attending`` says that the person stays with the rig for the first pass after it;
    ``before`` that it was said before the runner came up that heard it, so that nobody knows
    whether the person is there still. ``boot`` is the start of the machine during which it was
    said while no runner was at work; empty: a runner heard it.
    """

    VERSION: ClassVar[int] = 1
    step: int
    by: str
    note: str
    attending: bool = False
    before: bool = False
    boot: str = ""


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

    ``new_fields`` are fingerprint fields first seen in this group. A ``reference`` pass
    counts to no cell; it began at the instant ``at`` (RFC 3339), which other passes have in
    their entry alone. A ``preload`` pass is a warm-up pass that only warms a part up to the band
    of a gate, and counts as none. ``gate`` is the gate that gave up, if one did; ``foretold`` is
    what was foretold of the gates in the wait before it, with what came true.
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
    reference: bool = False
    at: str = ""
    preload: bool = False
    gate: GateGaveUp | None = None
    foretold: tuple[Foretold, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PassSkipped:
    """A gate gave up and the plan skips, or its reading was lost: the attempt is spent."""

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    warm_up: bool
    group: int
    fault: str
    reason: str
    reference: bool = False
    gate: GateGaveUp | None = None
    foretold: tuple[Foretold, ...] = ()


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
    expects: tuple[ExpectNotMet, ...] = ()
    others: tuple[OtherLoad, ...] = ()
    limit: LimitBreached | None = None
    limit_step: str = ""  #: the step in which the limit was passed; empty: the title itself
    recorder: CommandEnd | None = None
    changed_files: tuple[str, ...] = ()  #: watched files that changed in the pass, in words
    slept_s: float = 0.0
    harness_cpu_s: float = 0.0
    clock_jumped_s: float = 0.0  #: of the clock of the day, forward if positive
    harness_cost: HarnessCost | None = None  #: what looking at the rig cost the frames


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
class Usual:
    """Between which values the reference cell's *figure* lies, by its last ``values`` values."""

    figure: str
    low: float
    high: float
    values: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """An accepted cell of an earlier run, measured by the same procedure.

    ``kept`` are the attempts that counted there, in ``group``; ``fields`` what the plan
    wants the rig to have in common with it, as it was then; ``missing`` those of them that
    were not read then; ``measured_at`` when it was closed (RFC 3339).
    """

    cell: str
    run: str
    group: int
    kept: tuple[int, ...]
    measured_at: str
    fields: tuple[tuple[str, str], ...]
    missing: tuple[str, ...] = ()
    usual: Usual | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReuseOffered:
    """Earlier cells that the plan allows to be taken; ``refused`` are (cell, why not)."""

    VERSION: ClassVar[int] = 1
    offers: tuple[Offer, ...]
    refused: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ReuseTurnedDown:
    """The cells that were offered are measured after all."""

    VERSION: ClassVar[int] = 1
    cells: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CellReused:
    """An earlier cell is taken instead of measuring again: its passes are those of ``run``."""

    VERSION: ClassVar[int] = 1
    cell: str
    group: int
    run: str
    run_group: int
    kept: tuple[int, ...]
    measured_at: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CellSized:
    """How many kept passes a cell wants is fixed, before they are measured.

    ``figure`` is to be known to ``half_width``, a fraction of its mean; ``pilot`` are the
    attempts that said so, none where earlier runs did.
    """

    VERSION: ClassVar[int] = 1
    cell: str
    passes: int
    figure: str
    half_width: float
    reason: str
    pilot: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RigHeld:
    """The rig does nothing more until a person releases it.

    ``changed`` are the fields of the fingerprint, with what they are now, that a release
    accepts; nothing else. ``limit`` is the limit that was passed, ``gate`` the gate that gave
    up, if that is why, ``foretold`` what was foretold in its wait.
    """

    VERSION: ClassVar[int] = 1
    hold: str
    fault: str
    reason: str
    do: str
    changed: tuple[tuple[str, str], ...] = ()
    limit: LimitBreached | None = None
    gate: GateGaveUp | None = None
    foretold: tuple[Foretold, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCleared:
    """After a limit had ended a command, its reading was seen to come back.

    A temperature has fallen, any other reading is inside its limit again. ``bound`` is what
    had to be seen, ``value`` what was.
    """

    VERSION: ClassVar[int] = 1
    hold: str
    reading: str
    unit: str
    bound: str
    value: float | None
    waited_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRaised:
    """After a limit had ended a command, its reading was not seen to come back."""

    VERSION: ClassVar[int] = 1
    hold: str
    reading: str
    unit: str
    bound: str
    value: float | None
    waited_s: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CellWarmedUp:
    """The warm-up passes of a cell are over: two in a row agreed, or there were enough.

    ``difference`` is how far the last two figures were apart, a fraction; None: not to be told.
    """

    VERSION: ClassVar[int] = 1
    cell: str
    attempt: int
    on: str  #: the figure that was looked at
    passes: int
    difference: float | None
    within: float
    steady: bool
    reason: str


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
class ClockJumped:
    """The clock of the day jumped by ``by_s`` seconds, forward if positive, or the machine slept.

    The instants of the entries before and after it are not to be subtracted. ``during`` is the
    name of the attempt that was being carried out, if one was. ``slept_s`` is how long the machine
    was suspended, of which its clocks know; ``by_s`` may then be 0. A jump is ``unwatched`` where
    no runner was there to see it; ``at_least`` where only the order of two instants tells of it.
    """

    VERSION: ClassVar[int] = 1
    by_s: float
    during: str = ""
    slept_s: float = 0.0
    unwatched: bool = False
    at_least: bool = False


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
    | ReuseOffered
    | ReuseTurnedDown
    | CellReused
    | CellSized
    | CellWarmedUp
    | RigHeld
    | LimitCleared
    | AlarmRaised
    | RigReleased
    | RequestAnswered
    | ClockJumped
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

    ``step`` and ``attending`` are for CONFIRM; ``cells`` (keys) for RERUN.
    """

    number: int
    kind: RequestKind
    by: str
    note: str = ""
    step: int | None = None
    cells: tuple[str, ...] = ()
    attending: bool = False
