"""What an earlier runner left running, found and ended before anything is started.

Touches processes. Only the runner may look: with the runner lock in hand, every process that
carries this rig's token, or holds the rig lock, belongs to a runner that is gone.
"""

from __future__ import annotations

import hashlib
import os
import signal
from pathlib import Path

from harness.rig.clock import MachineClock
from harness.rig.locks import RigLock
from harness.rig.process import TOKEN
from harness.rig.tree import (
    Process,
    ProcessId,
    all_processes,
    described,
    having_in_environment,
    holding_open,
    send,
    wait_until_ended,
)

#: How long an orphan has to obey TERM, and then KILL, seconds.
GRACE_S, KILL_WITHIN_S = 0.5, 5.0
_LOOK_S = 0.05


def rig_mark(folder: Path) -> str:
    """Return what the tokens of one rig begin with: two rigs never end each other's commands."""
    return hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:12]


def token(mark: str, *, run: str, what: str) -> str:
    """Return the token of one command of the rig *mark*: its run and its attempt."""
    return f"{mark}:{run}:{what}"


def end_orphans(
    mark: str, *, lock: RigLock, clock: MachineClock
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """End what an earlier runner left running.

    Returns:
        What was ended, and what could not be, both in words.
    """
    ended: dict[ProcessId, str] = {}
    started_s = clock.steady_s()
    while orphans := _orphans(mark, lock):
        waited_s = clock.steady_s() - started_s
        if waited_s > GRACE_S + KILL_WITHIN_S:
            break
        blow = signal.SIGTERM if waited_s < GRACE_S else signal.SIGKILL
        for each in orphans:
            if each.id not in ended or blow is signal.SIGKILL:
                ended.setdefault(each.id, described(each))
                send(each.id, blow)
                send(each.id, signal.SIGCONT)
        wait_until_ended(orphans, seconds=_LOOK_S)
    survivors = tuple(described(each) for each in orphans)
    gone = tuple(text for who, text in ended.items() if who not in {each.id for each in orphans})
    if not survivors and not lock.is_free():
        survivors = ("a process that cannot be seen from here still holds the lock of the rig",)
    return gone, survivors


def left_running(mark: str, *, lock: RigLock) -> tuple[str, ...]:
    """Return in words what an earlier runner left running. Nothing is ended.

    Only with no runner at work: else what is found may be its own.
    """
    there = tuple(described(each) for each in _orphans(mark, lock))
    if not there and not lock.is_free():
        return ("a process that cannot be seen from here holds the lock of the rig",)
    return there


def _orphans(mark: str, lock: RigLock) -> tuple[Process, ...]:
    marked = having_in_environment(TOKEN, lambda text: text.startswith(f"{mark}:"))
    holders = () if lock.is_free() else holding_open(lock.path)
    found = {each.id: each for each in (*marked, *holders) if not each.is_over}
    mine = _this_line()
    return tuple(each for each in found.values() if each.id.pid not in mine)


def _this_line() -> set[int]:
    """Return this process and those it descends from: they may carry a token of their own."""
    everybody = all_processes()
    line, pid = set[int](), os.getpid()
    while pid and pid not in line:
        line.add(pid)
        parent = everybody.get(pid)
        pid = parent.parent if parent is not None else 0
    return line
