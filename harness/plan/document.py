"""A checked plan: frozen values that say what was asked, in base units.

Pure. Every part that a message may point at carries ``at``, the line and column it was
written at; two plans that differ only there are equal.

Lengths of time are seconds, shares are fractions (3 % is 0.03), bounds are in the unit of
their reading, sizes are bytes. Text stays the text that was written.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class At:
    """Where a value stands in its plan file, both counted from 1."""

    line: int
    column: int


def _at() -> Any:
    return field(default=None, compare=False, repr=False)


class Then(enum.Enum):
    """What follows when a gate gave up."""

    MARK = "mark"  #: the pass is carried out and marked
    SKIP = "skip"  #: the pass is not carried out; it counts as failed
    HOLD = "hold"  #: the rig is held


class By(enum.Enum):
    """Who brings a level about."""

    OPERATOR = "operator"
    COMMAND = "command"


class Better(enum.Enum):
    """Which way a figure is better."""

    HIGHER = "higher"
    LOWER = "lower"


class FigureFrom(enum.Enum):
    """Where a figure of a title without frames comes from."""

    WALL_TIME = "wall_time"
    OUTPUT = "output"
    JSON = "json"


class Side(enum.Enum):
    """On which side of its cell a discard rule looks for an outlier."""

    LOW = "low"
    HIGH = "high"
    BOTH = "both"


class FaultThen(enum.Enum):
    """What follows when a fault came again as often as the plan allows."""

    NEXT_CELL = "next-cell"
    HOLD = "hold"


class OrderBy(enum.Enum):
    """How the cells of one round are ordered."""

    FEWEST_CHANGES = "fewest-changes"  #: cells of one command level together, levels shuffled
    SHUFFLED = "shuffled"  #: every cell shuffled, levels too
    PLAN = "plan"  #: as the plan writes them


class WarmUpWhen(enum.Enum):
    """What makes a warm-up necessary."""

    LAUNCH = "launch"  #: the first time in a cell since the runner started
    VISIT = "visit"  #: a visit began
    BUILD_CHANGED = "build-changed"  #: a new group of passes was opened


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A condition on one reading, in that reading's unit.

    Exactly one of the four forms is given: an interval (``at_least``, ``at_most`` or
    both), ``equals``, or ``holds`` (a list reading that must hold the text).
    """

    reading: str
    unit: str  #: empty for text, counts and true/false
    at_least: float | None = None
    at_most: float | None = None
    equals: float | bool | str | None = None
    holds: str | None = None
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """A condition on readings that must hold before a pass may start."""

    bound: Bound
    for_s: float  #: the condition must hold this long, without a break
    give_up_s: float
    then: Then
    preload: bool = False  #: below the band the title itself may be run to warm the part
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """A condition on readings that must hold during a pass; a breach voids the pass.

    Breached when the condition failed for more than ``share`` of the pass's time, or for
    more than ``for_s`` without a break. With neither given, one sample is enough.
    """

    bound: Bound
    share: float | None = None
    for_s: float | None = None
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A safety condition: a breach ends the command at once and holds the rig."""

    bound: Bound
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """An external command: a list of arguments, never a shell string.

    ``{name}`` in an argument is filled when it is started; ``{{`` is a brace.
    """

    argv: tuple[str, ...]
    time_limit_s: float
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One value of a condition, and how it is brought about and verified."""

    name: str
    say: str = ""  #: for a person; empty for a command level
    command: Command | None = None
    put_back: Command | None = None
    expect: tuple[Bound, ...] = ()
    needs: tuple[Bound, ...] = ()
    limits: tuple[Limit, ...] = ()
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What is being compared. Its levels stand in plan order."""

    name: str
    by: By
    levels: tuple[Level, ...]
    opens_case: bool = False
    reboot: bool = False
    changes: tuple[str, ...] = ()  #: fingerprint fields that may differ between its levels
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A named set of texts handed to the title."""

    name: str
    values: tuple[tuple[str, str], ...]
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """How a frame log is to be read. None means: not declared."""

    file: str
    column: str | int  #: a name, or a number from 1 where there is no header
    unit: str  #: s, ms, us or ns
    values: str = "durations"  #: or ``clock``
    delimiter: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    encoding: str | None = None
    header: int | str | None = None  #: line number from 1, or ``none``
    footer: int | None = None  #: lines to drop at the end
    where: tuple[tuple[str, str], ...] = ()
    kinds_column: str | None = None
    kinds: tuple[str, ...] = ()
    counter: str | None = None
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureSpec:
    """A figure of a title that only reports numbers, or is only timed."""

    name: str
    source: FigureFrom
    better: Better
    unit: str = ""
    pattern: str | None = None  #: regular expression with a group ``value``
    file: str | None = None
    pointer: str | None = None  #: JSON pointer, RFC 6901
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The part of the capture that is measured, and how long it must be."""

    from_s: float = 0.0
    length_s: float | None = None
    tolerance: float = 0.0  #: fraction of the length
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """Files that are put in place for a pass, and files that must not change in it.

    ``put`` are (file, where it is put); both, and ``watch``, may hold ``{…}``.
    """

    put: tuple[tuple[str, str], ...] = ()
    watch: tuple[str, ...] = ()
    give_back: bool = True  #: what lay there before is given back after the pass
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A value that the title says it really used, held against what was asked for.

    ``name`` is the placeholder that asks for it, such as ``size``.
    """

    name: str
    source: FigureFrom  #: never a wall time
    pattern: str | None = None  #: regular expression with a group ``value``
    file: str | None = None
    pointer: str | None = None  #: JSON pointer, RFC 6901
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Title:
    """A program whose speed is measured, at one scene."""

    title: str
    scene: str
    settings: tuple[str, ...]
    command: Command
    prepare: tuple[Command, ...] = ()
    tidy: tuple[Command, ...] = ()
    collect: tuple[str, ...] = ()
    build_files: tuple[str, ...] = ()
    build_command: Command | None = None
    cut: Cut = Cut()
    frames: Frames | None = None
    figures: tuple[FigureSpec, ...] = ()
    #: of every frame, or by the name of a setting or of a level
    bytes_per_frame: float | tuple[tuple[str, float], ...] | None = None
    files: Files | None = None
    alive: str | None = None  #: the program that goes on when the command has ended
    recorder: Command | None = None  #: its time limit is for ending, once it is told to
    reports: tuple[Report, ...] = ()
    silent_after_s: float | None = None  #: so long without output, and the pass is ended
    still_after_s: float | None = None  #: so long without a growing capture: the same
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUp:
    """How many passes are carried out and not counted, and when.

    ``passes`` of them, or, where ``within`` is given, as many as it takes until steady.
    """

    passes: int = 1
    when: tuple[WarmUpWhen, ...] = (WarmUpWhen.LAUNCH, WarmUpWhen.VISIT, WarmUpWhen.BUILD_CHANGED)
    within: float | None = None  #: until steady: successive passes differ by no more, a fraction
    at_most: int = 5  #: passes until steady; after so many the cell goes on, marked


@dataclass(frozen=True, slots=True, kw_only=True)
class Passes:
    """How often each cell is measured."""

    warm_up: WarmUp = WarmUp()
    keep: int = 3
    at_most: int = 5
    look_first: bool = False  #: one pass of every cell of a block before the rest
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscardRule:
    """A discard rule over the passes of one cell, with its numbers."""

    rule: str
    on: str  #: name of a figure
    more_than: float | None = None  #: fraction of the median of the others
    alpha: float | None = None
    least: int | None = None  #: kept passes below which the rule only marks
    floor: float | None = None  #: fraction; a smaller difference is never an outlier
    side: Side = Side.BOTH
    at_most: int = 1  #: discards in one cell and group
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """In which order passes are carried out."""

    by: OrderBy = OrderBy.FEWEST_CHANGES
    rounds: int | None = None  #: None: as many as passes are kept
    rounds_within: str | None = None  #: a condition: its levels make blocks too
    visits: int = 1
    seed: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """What follows a fault."""

    again: int = 1  #: tries after the first, for the same pass
    then: FaultThen = FaultThen.NEXT_CELL
    stop_after: int = 3  #: the same fault in so many cells in a row holds the rig


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """When a person may be asked to do something, as minutes of the local day.

    The day is that of the night's zone, where the plan gives one, else of the rig's own.
    """

    from_minute: int
    to_minute: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """When the plan may run unattended: minutes of the local day, on the days it begins.

    ``days`` are ``mon`` to ``sun``, in that order. ``zone`` is a name of the time zone
    database, or empty for the rig's own.
    """

    start_minute: int
    end_minute: int  #: of the next day where it is not after the start
    days: tuple[str, ...]
    zone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compare:
    """What two sides must have in common, and the smallest difference worth calling one."""

    same: tuple[str, ...] = ()
    band: float = 0.03
    low: str = "percentile"  #: which definition of the low figures is shown


class EnoughFrom(enum.Enum):
    """What fixes how many kept passes a cell wants, before they are measured."""

    HISTORY = "history"  #: pooled spread of earlier runs; where there is none, two stages
    TWO_STAGE = "two-stage"  #: the first passes of the cell itself


@dataclass(frozen=True, slots=True, kw_only=True)
class Enough:
    """How exact a cell is wanted."""

    half_width: float  #: fraction of the mean: half the width of its 95 % interval
    figure: str | None = None  #: None: the average frame rate, or the title's first own figure
    source: EnoughFrom = EnoughFrom.TWO_STAGE
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The cell that is repeated at each visit's start and end, and every so often."""

    title: str
    scene: str
    setting: str
    every_s: float | None = None
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reuse:
    """Which earlier cells may be taken instead of measuring again."""

    within_s: float
    same: tuple[str, ...]  #: fingerprint fields that must be as they were
    check_reference: bool = False
    at: At | None = _at()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """What the rig must be."""

    gpu: str | None = None
    needs: tuple[Bound, ...] = ()
    settle_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A checked plan.

    ``limits`` is None where the plan does not speak of limits; ``limits_none`` is true
    where it says ``limits: none`` (attended runs only).
    """

    name: str
    titles: tuple[Title, ...]
    settings: tuple[Setting, ...]
    conditions: tuple[Condition, ...] = ()
    passes: Passes = Passes()
    gates: tuple[Gate, ...] = ()
    guards: tuple[Guard, ...] = ()
    limits: tuple[Limit, ...] | None = None
    limits_none: bool = False
    discard: tuple[DiscardRule, ...] = ()
    order: Order = Order()
    faults: Faults = Faults()
    compare: Compare = Compare()
    rig: Rig = Rig()
    person: Person | None = None
    night: Night | None = None
    about: str = ""
    procedure: str = ""
    enough: Enough | None = None
    reference: Reference | None = None
    reuse: Reuse | None = None
    extends: str = ""  #: name of the plan whose accepted cells are taken over
    facts: tuple[tuple[str, str], ...] = ()
