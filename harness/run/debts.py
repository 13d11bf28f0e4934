"""What a run has yet to put back, or a case that it had opened, stands as a hold of the rig.

Touches nothing but through the bench's port. The hold is made before the level's command
runs and lifted once the level is put back: if the runner dies in between, no other run may
start on a changed rig, from whatever store. The run itself is not kept by it, since it puts
back before anything else. A case that a step opens is such a debt until the first pass after
it is over: nothing else may start on a rig that nobody has seen run since.
"""

from __future__ import annotations

import shlex
from datetime import datetime

from harness.rig.tasks import Hold, LevelTask, Release
from harness.run.attendance import case_step
from harness.run.ports import Bench, Clock
from harness.run.records import RigHeld
from harness.run.state import RunState

#: How the hold of an opened case ends; no condition's does, which ends in a number.
_FIRST_PASS = "-first-pass"


class Debts:
    """The debts of one run, as holds of the rig."""

    def __init__(self, bench: Bench, clock: Clock) -> None:
        self._bench, self._clock = bench, clock

    def standing(self, run: str, condition: str | None = None) -> tuple[Hold, ...]:
        """Return what *run* has yet to put back, of all conditions or of one."""
        return tuple(each for each in self._bench.holds() if is_debt(each.id, run, condition))

    def make(self, state: RunState, task: LevelTask) -> None:
        """Make the debt stand of a level that is about to be brought about by its command."""
        condition, level = task.condition, task.level
        put_back = state.grid.levels[condition, level].put_back
        if task.command is None or put_back is None or self.standing(state.run, condition):
            return
        lifted = (each.hold for each in self._bench.releases())
        number = sum(is_debt(hold, state.run, condition) for hold in lifted) + 1
        self._bench.hold(
            Hold(
                id=f"{debt_prefix(state.run, condition)}{number}",
                run=state.run,
                reason=f"run {state.run} set {condition} {level}, and it was not put back",
                do="go on with that run, which puts it back first; or do it by hand "
                f"({shlex.join(put_back.argv)})",
                at=self._clock.now().isoformat(),
            )
        )

    def lift(self, state: RunState, condition: str) -> None:
        """Lift the debt of *condition*, if nothing of it is left to be put back."""
        if condition in state.put_back:
            return
        for hold in self.standing(state.run, condition):
            at = self._clock.now().isoformat()
            release = Release(hold=hold.id, by="the run itself", note="put back", at=at)
            self._bench.release(release)

    def square(self, state: RunState) -> None:
        """Lift what the run does not owe: a runner that died may have had no time to."""
        for condition in state.plan.conditions:
            self.lift(state, condition.name)
        self.note_case(state)

    def note_case(self, state: RunState) -> None:
        """Make the debt of an opened case stand until the first pass after it is over.

        Once a person has released it, it does not come back.
        """
        at = self._clock.now().isoformat()
        step = case_step(state)
        due = f"{debt_prefix(state.run)}{step}{_FIRST_PASS}" if step else ""
        stand = [each for each in self.standing(state.run) if each.id.endswith(_FIRST_PASS)]
        for hold in stand:
            if hold.id != due:
                over = Release(hold=hold.id, by="the run itself", note="seen to", at=at)
                self._bench.release(over)
        if not due or due in [each.id for each in stand]:
            return
        opens = "opens" if state.opened else "may open"
        if due not in [each.hold for each in self._bench.releases()]:
            self._bench.hold(
                Hold(
                    id=due,
                    run=state.run,
                    reason=f"step {step} of run {state.run} {opens} the case, and no pass is over "
                    "since",
                    do="close the case and go on with that run, with somebody at the rig; or see "
                    "that all is well, and stay for the first pass of whatever comes next",
                    at=at,
                )
            )


def standing(state: RunState, hold: RigHeld, *, at: datetime) -> Hold:
    """Return the hold of the rig that the record *hold* stands for, with what is still owed."""
    return Hold(
        id=hold.hold,
        run=state.run,
        reason=hold.reason + not_put_back(state),
        do=hold.do,
        at=at.isoformat(),
    )


def debt_prefix(run: str, condition: str | None = None) -> str:
    """Return how the names of such holds begin."""
    return f"{run}-owes-" if condition is None else f"{run}-owes-{condition}-"


def is_debt(hold: str, run: str, condition: str | None = None) -> bool:
    """Return whether the hold named *hold* is a debt of *run*, of any condition or of one."""
    prefix = debt_prefix(run, condition)
    rest = hold.removeprefix(prefix)
    return hold.startswith(prefix) and (condition is None or rest.isdecimal())


def not_put_back(state: RunState) -> str:
    """Return in words what a put_back could not undo, to be said after why the rig is held."""
    return "".join(
        f"; what {condition} {state.put_back[condition]} changed could NOT be put back ({problem})"
        for condition, problem in state.not_put_back.items()
        if condition in state.put_back
    )
