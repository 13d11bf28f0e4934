"""The daemon's lock: one daemon on a rig, and whoever else comes is told who it is.

Touches disk. Like the runner's own lock it is the kernel's: it goes with its holder. What is
written in it is for whoever is refused.
"""

from __future__ import annotations

import signal
from pathlib import Path

from harness.errors import Problem
from harness.rig.locks import Owner, RunnerLock, runner_at_work
from harness.rig.tree import ProcessId, send


class DaemonLock(RunnerLock):
    """Makes this process the rig's only daemon. A context manager."""

    NAME = "daemon.lock"

    def refusal(self, owner: Owner | None) -> Problem:
        """Return what is said to a second daemon."""
        who = "who it is has not been written down yet"
        if owner is not None:
            who = f"daemon: process {owner.pid}, since {owner.since}, boot {owner.boot or '-'}"
        return Problem(
            code="daemon-at-work",
            what="another daemon watches this rig",
            where=(who,),
            do="let it go on, and put plans on its queue: harness queue PLAN",
        )


def daemon_at_work(folder: Path) -> Owner | None:
    """Return who is the rig's daemon now, or None. Never waits, changes nothing."""
    return runner_at_work(folder, name=DaemonLock.NAME) if folder.exists() else None


def wake_daemon(folder: Path) -> Owner | None:
    """Let the rig's daemon look at its queue now; return who it is, or None."""
    owner = daemon_at_work(folder)
    if owner is not None and owner.pid:
        send(ProcessId(owner.pid, owner.started_ticks), signal.SIGUSR1)
    return owner
