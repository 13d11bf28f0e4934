"""Waiting at gates: what came of it, and what can be trusted of it after a sleep.

Touches nothing but through the bench's port.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from harness.rig.crossings import (
    DeviceLost,
    GateGaveUp,
    GatesOpened,
    LimitBreached,
    TooCold,
    WaitEnd,
    Woken,
)
from harness.rules.gates import GateWatch
from harness.run import instructions as i
from harness.run import observations as o
from harness.run.disk_room import FREE
from harness.run.ports import Bench, Interrupt
from harness.run.state import RunState


def await_gates(
    bench: Bench,
    state: RunState,
    wait: i.AwaitGates,
    *,
    names: Sequence[str],
    shown: Callable[[GateWatch], None],
    interrupt: Interrupt,
    now: Callable[[], datetime | None],
) -> o.WaitOver:
    """Wait at the gates before a pass; return how that ended, and how the rig is then.

    Args:
        bench: The rig.
        state: The run.
        wait: What is waited for.
        names: The readings that the plan speaks of.
        shown: Told what will end the wait, where there is anything to wait for.
        interrupt: Asked once a second whether the wait is to be broken off.
        now: Gives the instant, where the pass is to have one.
    """
    watch = GateWatch(wait.gates, wait.limits)
    if watch.opens_at_once:
        end: WaitEnd = GatesOpened(waited_s=0.0)
    else:
        shown(watch)
        end = bench.wait(watch, interrupt)
    readings = bench.read((*names, FREE))
    return o.WaitOver(
        cell=wait.cell,
        end=end,
        fingerprint=bench.fingerprint(state.grid.titles[wait.cell], full=False),
        unread=bench.unread(),
        readings=readings[:-1],
        free=readings[-1],
        reference=wait.reference,
        now=now(),
        foretold=watch.foretold(),
    )


def outlasts_a_sleep(observation: o.Observation | None) -> bool:
    """Return whether what was observed holds although the machine slept meanwhile.

    Nobody saw the rig while it slept: a hold that began before is none, patience that ran out
    was not given, and a rig was not left alone for as long as it should be. What was seen at
    one moment (a limit passed, a device lost, a reading that came back) stays true.
    """
    match observation:
        case o.SettleOver():
            return False
        case o.WaitOver(end=end):
            return isinstance(end, LimitBreached | DeviceLost)
        case o.ProofOver(end=end):
            return not isinstance(end, GateGaveUp | TooCold | Woken)
        case _:
            return True
