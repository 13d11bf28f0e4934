"""How a runner left a run, and what a person does next, as text.

Pure.
"""

from __future__ import annotations

import shlex
from typing import assert_never

from harness.run.debts import not_put_back
from harness.run.instructions import Outcome
from harness.run.records import CellState
from harness.run.state import RunState
from harness.views.progress import tally
from harness.views.safety import confirm_hint, step_lines


def as_text(outcome: Outcome, state: RunState, *, plan_file: str, store: str) -> str:
    """Return the last lines of `harness run`: what came of it, and what is to be done."""
    kept = f" --store {shlex.quote(store)}"
    again = f"harness run {shlex.quote(plan_file)}{kept}"
    lines = [f"run {state.run}: {tally(state)}"]
    match outcome:
        case Outcome.FINISHED:
            lines.append("The plan is finished.")
            lines += _not_accepted(state, kept)
            lines.append(f"  figures:      harness results --run {state.run}{kept}")
            lines.append(f"  another run:  {again} --again")
        case Outcome.HELD:
            assert state.hold is not None
            lines.append(f"THE RIG IS HELD: {state.hold.reason}{not_put_back(state)}")
            lines.append(f"  do:           {state.hold.do}")
            lines.append(f"  then:         harness release {state.hold.hold} --by YOUR-NAME")
            lines.append(f"  and go on:    {again}")
            lines.append(f"  or, if you change the plan: {again} --again")
        case Outcome.PAUSED if state.step is not None:
            lines.append(f"Stopped while step {state.step.step} is open:")
            lines += step_lines(
                state.step.say, opens_case=state.step.opens_case, reboot=state.step.reboot
            )
            hint = confirm_hint(
                step=state.step.step, run=state.run, store=store, attending=state.step.opens_case
            )
            lines.append(f"  when done:    {hint}")
            lines.append(f"  and go on:    {again}")
        case Outcome.PAUSED:
            lines.append("Stopped. Everything measured so far is kept.")
            lines.append(f"  go on:        {again}")
        case _:
            assert_never(outcome)
    return "\n".join(lines)


def _not_accepted(state: RunState, kept: str) -> list[str]:
    found = [
        f"  {progress.state.value}: {state.grid.cells[key].label} (cell {key})"
        for key, progress in state.progress.items()
        if progress.state is not CellState.ACCEPTED
    ]
    if found:
        found.append(f"  why:          harness trace CELL --run {state.run}{kept}")
    return found
