"""End the whole tree of a command, and prove that nothing of it is left.

Touches processes. The runner is a *subreaper*: whatever loses its parent below it becomes
its child, so that a process which left its group or its session is still found. Who is left
is asked anew after every blow, until nobody is.

What was there before the command (``strangers``) is left alone.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field

from harness.rig.clock import MachineClock
from harness.rig.locks import RigLock
from harness.rig.nets import Net
from harness.rig.process import TOKEN
from harness.rig.tree import (
    Process,
    ProcessId,
    all_processes,
    descendants,
    descendants_now,
    described,
    having_in_environment,
    holding_open,
    process,
    send,
    wait_until_ended,
)

_SET_SUBREAPER, _SET_PDEATHSIG = 36, 1  # linux/prctl.h

#: How long KILL may take to be obeyed before a process counts as a survivor, seconds.
KILL_WITHIN_S = 5.0
#: While nothing ends, who is there is asked anew so often, seconds.
_LOOK_EVERY_S = 0.1


def become_subreaper() -> None:
    """Let every orphan below this process become its child."""
    ctypes.CDLL(None, use_errno=True).prctl(_SET_SUBREAPER, 1, 0, 0, 0)


def end_with(parent: int) -> bool:
    """Let this process be told to end when *parent* has; return whether *parent* is there yet."""
    libc = ctypes.CDLL(None, use_errno=True)
    libc.prctl(_SET_PDEATHSIG, signal.SIGTERM, 0, 0, 0)
    return os.getppid() == parent


@dataclass(slots=True, kw_only=True)
class Tree:
    """What a runner has started and not yet seen end.

    Args:
        clock: For grace and patience.
        strangers: Children of the runner that are none of a command's.
        net: Ends all at one blow, and knows who is in it.
        since_ticks: When its first process was started; 0: nobody knows.
    """

    clock: MachineClock
    strangers: Collection[ProcessId] = ()
    net: Net | None = None  #: of the operating system, where there is one
    since_ticks: int = 0
    statuses: dict[int, int] = field(default_factory=dict)  #: wait status by number, once reaped

    def alive(self, *, everybody: Sequence[Process] | None = None) -> tuple[Process, ...]:
        """Return what is alive of it, having taken note of what has ended.

        *everybody* is every process there is, just looked at: the quick way without it may
        miss one that is being handed on to another parent.
        """
        me = os.getpid()
        while True:
            if everybody is None:
                found = descendants_now(me, without=self.strangers)
            else:
                found = descendants(me, without=self.strangers, among=everybody)
            over = [each for each in found if each.is_over and each.parent == os.getpid()]
            reaped = [each for each in over if self._reap(each.id.pid)]
            if reaped and everybody is not None:
                everybody = tuple(all_processes().values())
            if not reaped:  # else their children have become ours: look again
                return tuple(each for each in found if not each.is_over)

    def _reap(self, pid: int) -> bool:
        with contextlib.suppress(ChildProcessError):
            reaped, status = os.waitpid(pid, os.WNOHANG)
            if reaped:
                self.statuses[pid] = status
                return True
        return False

    def wait_until_gone(
        self, seconds: float, *, broken_off: Callable[[], bool] = lambda: False
    ) -> tuple[Process, ...]:
        """Wait until nothing is alive; return what still is after *seconds*."""
        deadline_s = self.clock.steady_s() + seconds
        while (left := self.alive()) and not broken_off():
            left_s = deadline_s - self.clock.steady_s()
            if left_s <= 0:
                break
            wait_until_ended(left, seconds=min(left_s, _LOOK_EVERY_S))
        return left

    def end(self, *, grace_s: float, hurry: Callable[[], bool] = lambda: False) -> str:
        """End everything: TERM and *grace_s* to obey, then KILL; return what was sent, in words.

        *grace_s* of 0 means KILL at once; *hurry* cuts a grace short.
        """
        sent: list[str] = []
        told: set[ProcessId] = set()
        deadline_s = self.clock.steady_s() + grace_s
        while (left := self.alive()) and self.clock.steady_s() < deadline_s and not hurry():
            for each in left:
                # What was started since is told too, or it would sit its grace out.
                if each.id not in told and send(each.id, signal.SIGTERM):
                    told.add(each.id)
                    send(each.id, signal.SIGCONT)  # a stopped process obeys when it goes on
            wait_until_ended(left, seconds=_LOOK_EVERY_S)
        if told:
            sent.append(f"TERM to {_processes(len(told))}")
        killed: set[ProcessId] = set()
        deadline_s = self.clock.steady_s() + KILL_WITHIN_S
        while left := self.alive():
            if self.net is not None and self.net.kill():
                killed.update(each.id for each in left)
            killed.update(each.id for each in left if send(each.id, signal.SIGKILL))
            wait_until_ended(left, seconds=_LOOK_EVERY_S)
            if self.clock.steady_s() > deadline_s:
                break
        if killed:
            after = f" after {grace_s:g} s" if grace_s > 0 else ""
            sent.append(f"KILL to {_processes(len(killed))}{after}")
        return ", ".join(sent)

    def status_of(self, pid: int) -> int:
        """Return the wait status of the command itself, once it has ended."""
        if pid not in self.statuses:
            with contextlib.suppress(ChildProcessError):
                self.statuses[pid] = os.waitpid(pid, 0)[1]
        return self.statuses.pop(pid, 0)


def left_over(tree: Tree, *, token: str, lock: RigLock) -> tuple[Process, ...]:
    """Return what is left of a command whose tree was ended; empty is the proof of quiet.

    Three nets: the kernel's tree, the token in the environment of every process, and the rig
    lock, which is held as long as anything that inherited it is alive. A fourth where the
    operating system holds one.
    """
    everybody = tuple(all_processes().values())
    found = {each.id: each for each in tree.alive(everybody=everybody)}
    inside = tree.net.processes() if tree.net is not None else ()
    found |= {each.id: each for pid in inside if (each := process(pid)) and not each.is_over}
    # Whoever carries the token got it from the command: the environments of all that were there
    # before, most of the machine, need not be looked into.
    since = [each for each in everybody if each.id.started_ticks >= tree.since_ticks]
    marked = having_in_environment(TOKEN, lambda text: text == token, among=since)
    holders = () if lock.is_free() else holding_open(lock.path)
    for each in (*marked, *holders):
        if not each.is_over and each.id.pid != os.getpid():
            found[each.id] = each
    return tuple(found.values())


def end_left_over(tree: Tree, *, token: str, lock: RigLock) -> tuple[str, ...]:
    """KILL what :func:`left_over` finds; return the survivors, in words.

    Where the lock stays held and its holder cannot be seen, that itself is a survivor.
    """
    deadline_s = tree.clock.steady_s() + KILL_WITHIN_S
    while left := left_over(tree, token=token, lock=lock):
        blows = [send(each.id, signal.SIGKILL) for each in left]
        if not any(blows) or tree.clock.steady_s() > deadline_s:
            return tuple(described(each) for each in left)
        wait_until_ended(left, seconds=_LOOK_EVERY_S)
    if not lock.is_free():
        return ("a process that cannot be seen from here still holds the lock of the rig",)
    return ()


def _processes(count: int) -> str:
    return "1 process" if count == 1 else f"{count} processes"
