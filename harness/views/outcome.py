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
            step = state.step
            lines += step_lines(
                step.say,
                opens_case=step.opens_case,
                reboot=step.reboot,
                attend=step.attend,
                reopens=step.reopens,
            )
            hint = confirm_hint(step=step.step, run=state.run, store=store, attending=step.stays)
            lines.append(f"  {'when there' if step.attend else 'when done'}:    {hint}")
            lines.append(f"  and go on:    {again}")
        case Outcome.PAUSED:
            lines.append("Stopped. Everything measured so far is kept.")
            lines.append(f"  go on:        {again}")
        case _:
            assert_never(outcome)
    return "\n".join(lines)


def as_json(outcome: Outcome, state: RunState) -> dict[str, object]:
    """Return the object that `harness run --json` prints."""
    hold = state.hold
    counts = {each.value: 0 for each in CellState}
    for progress in state.progress.values():
        counts[progress.state.value] += 1
    return {
        "schema": "harness.run/1",
        "run": state.run,
        "outcome": outcome.value,
        "cells": counts,
        "hold": hold and {"id": hold.hold, "reason": hold.reason},
    }


def _not_accepted(state: RunState, kept: str) -> list[str]:
    found = [
        f"  {progress.state.value}: {state.grid.cells[key].label} (cell {key})"
        for key, progress in state.progress.items()
        if progress.state is not CellState.ACCEPTED
    ]
    if found:
        found.append(f"  why:          harness trace CELL --run {state.run}{kept}")
    return found
