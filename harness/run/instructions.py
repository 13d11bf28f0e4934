"""What to do next: imperative, frozen, the only output of ``pick``.

Pure.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from harness.plan.document import Command, Gate, Limit
from harness.rig.tasks import LevelTask
from harness.run.records import StepAsked


@dataclass(frozen=True, slots=True, kw_only=True)
class GoOn:
    """Write the record that is due; nothing is done outside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetLevel:
    """Bring a level about, or only read whether it is in force."""

    task: LevelTask


@dataclass(frozen=True, slots=True, kw_only=True)
class PutBack:
    """Undo what a level changed."""

    condition: str
    level: str
    command: Command


@dataclass(frozen=True, slots=True, kw_only=True)
class Settle:
    """Leave the rig alone."""

    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AwaitHours:
    """Wait until the hours in which a person may be asked."""

    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AwaitPerson:
    """Wait until a person has confirmed a step."""

    step: StepAsked


@dataclass(frozen=True, slots=True, kw_only=True)
class AwaitGates:
    """Wait until the gates hold before the next pass of a cell."""

    cell: str
    warm_up: bool
    gates: tuple[Gate, ...]
    limits: tuple[Limit, ...]
    reference: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AwaitProof:
    """Wait until the reading of a limit that was passed has come back, as *gate* says."""

    gate: Gate
    reading: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CarryOut:
    """Carry out the pass that was started."""

    cell: str
    attempt: int
    warm_up: bool
    limits: tuple[Limit, ...]
    reference: bool = False


class Outcome(enum.Enum):
    """Why the runner leaves a run."""

    FINISHED = "finished"
    HELD = "held"
    PAUSED = "paused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Leave:
    """There is nothing more to do for this runner."""

    outcome: Outcome


Instruction = (
    GoOn
    | SetLevel
    | PutBack
    | Settle
    | AwaitHours
    | AwaitPerson
    | AwaitGates
    | AwaitProof
    | CarryOut
    | Leave
)
