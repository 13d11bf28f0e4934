"""When the store refuses what is to be kept: the rig is left as it was, and held.

Touches nothing but through the bench's port. Without a store nothing can be put on record, so
the hold stands in the rig's own folder, which binds every plan. Once a person has released it
and the run goes on, both come on record. What is put back here is put back again then, since
no record tells of it: that does no harm, and a level left in force all day may.
"""

from __future__ import annotations

from collections.abc import Sequence

from harness.errors import HarnessError, Problem, StoreError
from harness.rig.tasks import Hold, LevelTask, Release
from harness.rules.faults import what_to_do
from harness.run import records as r
from harness.run.ports import Bench, Clock
from harness.run.state import RunState

FAULT = "store-refused"


def leave_safely(bench: Bench, clock: Clock, state: RunState, error: StoreError) -> StoreError:
    """Put back what levels changed, hold the rig, and return the error to be shown.

    A store that is only busy holds nothing: the same command goes on.
    """
    for condition, level in tuple(state.put_back.items()):
        command = state.grid.levels[condition, level].put_back
        bench.set_level(
            LevelTask(condition=condition, level=level, command=command, expect=(), undo=True)
        )
    if all(problem.code == "store-busy" for problem in error.problems):
        return error
    prefix = _prefix(state.run)
    known = [each.id for each in bench.holds()] + [each.hold for each in bench.releases()]
    hold = Hold(
        id=f"{prefix}{1 + len({each for each in known if each.startswith(prefix)})}",
        run=state.run,
        reason="the store refused what was to be kept: "
        + "; ".join(problem.what for problem in error.problems),
        do="; ".join(problem.do for problem in error.problems),
        at=clock.now().isoformat(),
    )
    try:
        bench.hold(hold)
    except HarnessError as also:  # the disk of the rig's folder may be the same
        return StoreError([*error.problems, *also.problems])
    held = Problem(
        code="rig-held",
        what="the rig is held until then, and what levels had changed is put back",
        where=(f"hold {hold.id}",),
        do=f"harness release {hold.id} --by YOUR-NAME, then the same command",
    )
    return StoreError([*error.problems, held])


def of_store(hold: str, run: str) -> bool:
    """Return whether *hold* was made because the store refused what *run* had to keep."""
    return hold.startswith(_prefix(run))


def _prefix(run: str) -> str:
    return f"{run}-store-"


def on_record(state: RunState, releases: Sequence[Release]) -> tuple[r.Record, ...]:
    """Return the holds that the store could not keep at the time, each with its release."""
    prefix = _prefix(state.run)
    numbered = {
        int(text): each
        for each in releases
        if each.hold.startswith(prefix) and (text := each.hold.removeprefix(prefix)).isdecimal()
    }
    records: list[r.Record] = []
    for number, each in sorted(numbered.items()):
        if number <= state.refusals:
            continue
        records += (
            r.RigHeld(
                hold=each.hold,
                fault=FAULT,
                reason="the store had refused what was to be kept",
                do=what_to_do(FAULT),
            ),
            r.RigReleased(hold=each.hold, by=each.by, note=each.note),
        )
    return tuple(records)
