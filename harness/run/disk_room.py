"""Room on the disk: whether a run fits, and when the rig is held for the lack of it.

Pure. A full disk loses nothing that was kept, but what is being measured; so the night ends
before it is full. Where free space is not measured nothing is held for it: preflight says so.
"""

from __future__ import annotations

from dataclasses import replace

from harness.errors import Problem
from harness.rig.readings import Reading, shown
from harness.run import records as r
from harness.run.closing import held
from harness.run.state import RunState, wanted_passes

#: The reading that is asked for.
FREE = "disk.free"
#: No pass starts with less free, beside what a pass takes, bytes. Common practice, no source:
#: the system itself and its logs need room.
FLOOR_BYTES = 1 << 30
BYTES_PER_GIB = 1 << 30


def room_wanted(state: RunState) -> int:
    """Return how much must be free before a pass starts, bytes.

    A pass lies on the disk twice for a while: the files of its attempt, and their bundle. The
    largest of the run so far is taken.
    """
    return FLOOR_BYTES + 2 * state.largest_pass_bytes


def disk_low(state: RunState, free: Reading | None) -> r.RigHeld | None:
    """Return the hold that too little room leads to, or None."""
    if free is None or not isinstance(free.value, float):
        return None
    left, wanted = round(free.value * BYTES_PER_GIB), room_wanted(state)
    if left >= wanted:
        return None
    reason = (
        f"{_size(left)} are free where the store lies, and a pass starts only with "
        f"{_size(wanted)}: {_size(FLOOR_BYTES)} stay free"
    )
    if state.largest_pass_bytes:
        largest = _size(state.largest_pass_bytes)
        reason += f", and what a pass leaves, up to {largest}, lies there twice for a while"
    hold = held(state, "disk-low", reason)
    return replace(hold, do=f"make room for at least {_size(wanted - left)} more; {hold.do}")


def passes_left(state: RunState) -> int:
    """Return how many passes the run has yet to keep at the least, warm-ups among them."""
    warm_up = state.plan.passes.warm_up.passes
    return sum(
        max(0, wanted_passes(state, each) - len(each.kept)) + max(0, warm_up - each.warm_ups)
        for each in state.progress.values()
        if each.state is r.CellState.OPEN
    )


def does_not_fit(free: Reading, *, passes: int, a_pass_bytes: float | None) -> Problem | None:
    """Return why a run may not start for lack of room, or None.

    Args:
        free: The reading of the free space where the store lies.
        passes: How many passes it keeps at the least.
        a_pass_bytes: What a pass takes for good, by those kept so far; None: nothing tells.
    """
    if not isinstance(free.value, float):
        return None
    left = free.value * BYTES_PER_GIB
    wanted = FLOOR_BYTES + passes * (a_pass_bytes or 0.0)
    if left >= wanted:
        return None
    what = (
        f"{_size(round(left))} are free where the store lies, and the run needs "
        f"{_size(round(wanted))}"
    )
    told = (
        f"{passes} passes of about {_size(round(a_pass_bytes))} each, and {_size(FLOOR_BYTES)} "
        "stay free"
        if a_pass_bytes is not None
        else f"{_size(FLOOR_BYTES)} stay free; what a pass takes is not known yet"
    )
    return Problem(
        code="disk-too-full",
        what=what,
        where=(told, f"{FREE} {shown(free)}"),
        do=f"make room for at least {_size(round(wanted - left))} more, or name another disk with "
        "--store; captures are kept for ever",
    )


def _size(size: int) -> str:
    if size < 10_000:
        return f"{size} bytes"
    if size < 1 << 20:
        return f"{size / 1024:.0f} KiB ({size} bytes)"
    if size < 1 << 30:
        return f"{size / (1 << 20):.0f} MiB ({size} bytes)"
    return f"{size / (1 << 30):.2f} GiB ({size} bytes)"
