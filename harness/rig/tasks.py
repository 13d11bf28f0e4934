"""What a bench is asked to do, and what it gives back.

Pure. The bench touches the machine and judges nothing: a report says what happened.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from harness.plan.cells import Cell
from harness.plan.document import Bound, Command, Title
from harness.rig.crossings import ExpectNotMet, GuardBreached, LimitBreached, PassWatch
from harness.rig.hold import Hold as Hold
from harness.rig.hold import Release as Release
from harness.rig.readings import Reading, Sample


class EndedBy(enum.Enum):
    """How a command ended."""

    EXIT = "exit"
    SIGNAL = "signal"
    TIME_LIMIT = "time-limit"
    LIMIT = "limit"
    STOPPED = "stopped"  #: the runner was told to stop
    SILENT = "silent"  #: no output for too long
    STILL = "still"  #: no growing capture for too long
    RECORDER = "recorder-failed"  #: the recorder beside it had ended
    NEVER_ALIVE = "never-alive"  #: it ended well, and the program that should go on was not seen
    NOT_FOUND = "not-found"
    NOT_EXECUTABLE = "not-executable"
    NOT_STARTED = "not-started"  #: any other refusal of the operating system


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandEnd:
    """How one command ended.

    ``status`` is the exit status (EXIT), ``signal`` its name (SIGNAL); ``detail`` is the
    operating system's word, or what was sent to the tree. ``survivors`` names every
    process of the tree that could not be ended: the rig is then not quiet.
    """

    argv: tuple[str, ...]
    by: EndedBy
    wall_s: float
    status: int | None = None
    signal: str | None = None
    detail: str = ""
    survivors: tuple[str, ...] = ()
    dropped_output_bytes: int = 0


def attempt_name(cell: str, attempt: int) -> str:
    """Return the name of an attempt, safe as a folder's name on every system.

    >>> attempt_name("0f3a91c2d4e5", 7)
    '0f3a91c2d4e5-007'
    """
    return f"{cell}-{attempt:03d}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PassTask:
    """One pass to be carried out.

    ``fill`` holds the values for ``{…}`` but ``captures`` and ``python``, which the bench
    knows. ``watch`` is fed every sample.
    """

    run: str
    cell: Cell
    title: Title
    attempt: int
    warm_up: bool
    fill: Mapping[str, str]
    watch: PassWatch

    @property
    def name(self) -> str:
        """Return the name of the attempt, the same on disk and in every message."""
        return attempt_name(self.cell.key, self.attempt)


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One file of an attempt, to be kept byte for byte.

    ``name`` is ``captures/…``, ``output/stdout``, ``output/stderr`` or ``readings.jsonl``;
    relative, with ``/``, never leaving the folder.
    """

    name: str
    path: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherLoad:
    """A process that is neither the title's nor the harness's, and what it took of a pass.

    ``share`` is of all processors' time, 0 to 1, between a look before the pass and one
    after it; what came and went in between is not seen.
    """

    name: str
    pid: int
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampling:
    """When the sampler looked at the rig during the title's command, on the steady clock.

    ``looks`` are start and end of each, ``interval_s`` lies from one deadline to the next,
    counted from ``started_s``. ``behind_s`` says of each clock of the machine how far it is
    behind the steady one: the steady clock itself, the monotonic one, the clock of the day.
    """

    started_s: float
    interval_s: float
    looks: tuple[tuple[float, float], ...]
    behind_s: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True, kw_only=True)
class PassReport:
    """What happened in one pass.

    ``end`` is the title's own command, unless ``failed_step`` names a step that failed: then
    it is that step's end, and after a failed ``prepare`` the title was not started. ``folder`` is
    the attempt's fresh folder, None for a rehearsed pass.
    """

    end: CommandEnd
    #: ``files``, ``prepare 1``, ``recorder``, ``tidy 2`` …; None: the title's own command
    failed_step: str | None = None
    folder: Path | None = None
    folder_made_ns: int | None = None  #: when it was made, on the clock of its file system
    members: tuple[Member, ...] = ()
    samples: tuple[Sample, ...] = ()
    guards: tuple[GuardBreached, ...] = ()
    expects: tuple[ExpectNotMet, ...] = ()  #: of the levels, at the best reading under load
    others: tuple[OtherLoad, ...] = ()  #: other processes that were at work, the busiest first
    limit: LimitBreached | None = None
    limit_step: str = ""  #: the step in which it was passed; empty: in the title itself
    recorder: CommandEnd | None = None  #: how the recorder ended, where there is one
    changed_files: tuple[str, ...] = ()  #: watched files that changed in the pass, in words
    not_given_back: tuple[str, ...] = ()  #: files that could not be given back, and why
    device_lost: str | None = None  #: a device that answers no more, with what was read last
    slept_s: float = 0.0  #: time the machine was suspended in the pass
    harness_cpu_s: float = 0.0  #: processor time of the runner itself during the pass
    sampling: Sampling | None = None  #: when the rig was looked at, beside the title's command
    #: by how much the clock of the day jumped in the pass; whoever asked for it notes it
    clock_jumped_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelTask:
    """A level to be brought about by its command (or only verified: ``command`` None).

    ``watch`` is fed every sample while the command runs: a limit that is passed ends it, but
    not where it puts a level back (``undo``): that is what lets the rig cool.
    """

    condition: str
    level: str
    command: Command | None
    expect: tuple[Bound, ...]
    watch: PassWatch | None = None
    undo: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReport:
    """What came of it: the command's end, and every expected reading as it was read."""

    end: CommandEnd | None
    readings: tuple[Reading, ...]
    limit: LimitBreached | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Leftovers:
    """What an earlier runner left behind, found at the start.

    ``ended`` and ``survivors`` describe processes; ``attempts`` maps the name of an
    attempt to the files it left; ``given_back`` names files of a title that still were what a
    pass had put in their place.
    """

    ended: tuple[str, ...] = ()
    survivors: tuple[str, ...] = ()
    attempts: Mapping[str, tuple[Member, ...]] | None = None
    given_back: tuple[str, ...] = ()
