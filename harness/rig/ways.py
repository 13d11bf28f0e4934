"""How long the bench waits for what, and how a title's command differs from a plain one.

Touches nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from harness.rig.tasks import EndedBy
from harness.rig.tree import ProcessId


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long the bench waits for what, seconds.

    ``grace_s``: between TERM and KILL. ``linger_s``: what a command left behind may go on
    after it (a helper that completes a file). ``settle_s``: files may still change.
    ``appear_s``: a launcher has ended, and its program may still appear.
    """

    grace_s: float = 5.0
    linger_s: float = 5.0
    settle_s: float = 5.0
    appear_s: float = 30.0
    ask_every_s: float = 0.1  #: a stop that cannot wake the runner is asked so often


class Beside(Protocol):
    """A command that runs beside another one, and is none of its tree."""

    @property
    def id(self) -> ProcessId:
        """Return who it is."""

    @property
    def descriptor(self) -> int | None:
        """Return what becomes readable when it ends; None once that has been noted."""

    def ended_badly(self) -> bool:
        """Return whether it has ended and should not have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """How one command differs from a plain one.

    Args:
        alive: The program that goes on when the command has ended.
        growing: (files or folders, seconds, how the command ends when none grew so long).
        beside: What runs beside it.
    """

    alive: str | None = None
    growing: Sequence[tuple[Sequence[Path], float, EndedBy]] = ()
    beside: Beside | None = None


PLAIN = Ways()
