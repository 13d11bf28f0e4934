"""Control groups of Linux, version 2, where the runner's unit has been handed one.

Touches disk (the kernel's). After the kernel's document on control group v2: a process joins
by its number, or ``0`` for itself, in ``cgroup.procs``; ``1`` in ``cgroup.kill`` kills all that
is in a group and below it; a group is removed with its folder once it is empty. Groups of a
unit are its manager's unless it says that they are handed over: systemd marks such a folder
with the attribute ``user.delegate`` (``trusted.delegate`` before version 251).
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

_MARKS = ("user.delegate", "trusted.delegate")


@dataclass(frozen=True, slots=True)
class ControlGroup:
    """One command's own group. Fits ``harness.rig.nets.Net``."""

    path: Path

    @property
    def entrance(self) -> str:
        """Return the file by which a process joins."""
        return str(self.path / "cgroup.procs")

    def take(self, pid: int) -> None:
        """Do nothing: a command comes in by the entrance, before it starts anything."""

    def kill(self) -> bool:
        """Kill all that is in the group; False where this kernel (before 5.14) cannot."""
        try:
            descriptor = os.open(self.path / "cgroup.kill", os.O_WRONLY)  # never made where missing
        except OSError:
            return False
        try:
            os.write(descriptor, b"1")
        except OSError:
            return False
        finally:
            os.close(descriptor)
        return True

    def processes(self) -> tuple[int, ...]:
        """Return the numbers of the processes in it."""
        try:
            text = (self.path / "cgroup.procs").read_text(encoding="ascii")
        except OSError:
            return ()
        return tuple(map(int, text.split()))

    def close(self) -> None:
        """Remove the group; one that is not empty stays, and is tried again at the next start."""
        with contextlib.suppress(OSError):
            self.path.rmdir()


@dataclass(frozen=True, slots=True)
class ControlGroups:
    """Makes groups below the runner's own. Fits ``harness.rig.nets.Nets``."""

    parent: Path

    def make(self, name: str) -> ControlGroup | None:
        """Return a fresh group; None where the kernel refuses it."""
        path = self.parent / f"bench-{name}"
        with contextlib.suppress(OSError):
            path.rmdir()  # what an earlier runner left
        try:
            path.mkdir()
        except OSError:
            return None
        return ControlGroup(path)


def handed_over(
    *, mount: Path = Path("/sys/fs/cgroup"), own: Path = Path("/proc/self/cgroup")
) -> ControlGroups | None:
    """Return the groups this process may make; None where its unit was handed none.

    Args:
        mount: Where the one hierarchy of version 2 is mounted.
        own: Says which group this process is in: the line that begins with ``0::``.
    """
    try:
        lines = own.read_text(encoding="utf-8").splitlines()
    except OSError:
        return None
    name = next((line[3:] for line in lines if line.startswith("0::")), None)
    if name is None or not (mount / "cgroup.controllers").exists():
        return None  # version 1, or both side by side
    path = mount / name.strip().lstrip("/")
    if not any(_attribute(path, mark) == b"1" for mark in _MARKS):
        return None
    return ControlGroups(path) if os.access(path / "cgroup.procs", os.W_OK) else None


def _attribute(path: Path, name: str) -> bytes:
    try:
        return os.getxattr(path, name)
    except (OSError, AttributeError):
        return b""
