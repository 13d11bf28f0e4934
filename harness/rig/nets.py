"""A net under the processes of one command, which the operating system itself holds.

Pure. Where the system has one (a control group, a job object), a whole tree is ended at one
blow, and who is left in it is known without looking at any other process. It is one net more:
what it says is never taken for the proof that nothing is left.
"""

from __future__ import annotations

from typing import Protocol


class Net(Protocol):
    """Holds the processes of one command, and all they start."""

    @property
    def entrance(self) -> str:
        """Return the file a process writes ``0`` to before it becomes the command; or nothing."""

    def take(self, pid: int) -> None:
        """Take a process in that was just started, where there is no entrance."""

    def kill(self) -> bool:
        """End all that is in it at once; return False where that cannot be done."""

    def processes(self) -> tuple[int, ...]:
        """Return the numbers of the processes in it."""

    def close(self) -> None:
        """Take the net away. What is still in it is ended, where the system does that."""


class Nets(Protocol):
    """Makes nets on one machine."""

    def make(self, name: str) -> Net | None:
        """Return a net of that name; None where none can be made now."""
