"""What a person asks of a run, and the answer.

Pure. Called by ``decide`` only. Every request is answered with a record, also one that
cannot be granted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import assert_never

from harness.run import records as r
from harness.run.groups import group_for
from harness.run.state import Progress, RunState
from harness.run.transitions import Phase

Records = tuple[r.Record, ...]

#: Why a step that opened the case is not confirmed by somebody who is going away.
ATTEND = (
    "the step opens the case, and the first pass after that is attended: stay with the rig until "
    "it is over, and say so with --attending"
)

#: The same, where nothing is to be done but to stay.
STAY_NOW = (
    "the case was opened, and the first pass after that is attended: stay with the rig until it "
    "is over, and say so with --attending"
)


def answer(
    state: RunState,
    request: r.Request,
    *,
    boot: str,
    fingerprint: Mapping[str, str] | None = None,
    before: bool = False,
    alone: bool = False,
) -> Records:
    """Return the records that answer *request*: the answer, and what it brings about.

    Args:
        state: The run.
        request: What was asked.
        boot: The start of the machine.
        fingerprint: The rig as it is now, where the run is finished: what is measured again
            must be of the group that is open, or the rig is held and the difference named.
        before: It was put before the runner came up that answers it.
        alone: No runner is at work: it is only answered.
    """
    match request.kind:
        case r.RequestKind.CONFIRM:
            return _confirm(state, request, boot=boot, before=before, alone=alone)
        case r.RequestKind.STOP:
            if state.phase is Phase.IDLE:
                return (
                    _answered(request, accepted=True, text="the run stops"),
                    r.RunPaused(reason=f"{request.by} asked for it"),
                )
            return (_refused(request, f"the run is {state.phase.value}; there is nothing to stop"),)
        case r.RequestKind.RERUN:
            return _rerun(state, request, fingerprint)
        case _:
            assert_never(request.kind)


def _confirm(
    state: RunState, request: r.Request, *, boot: str, before: bool, alone: bool
) -> Records:
    step = state.step
    if step is None or (request.step is not None and 0 < request.step < step.step):
        done = request.step is not None and 0 < request.step <= state.steps
        text = f"step {request.step} is confirmed already" if done else "no step is open"
        return (_refused(request, text if step is None else f"{text}; step {step.step} is open"),)
    if request.step is not None and request.step != step.step:
        return (_refused(request, f"step {request.step} is not open; step {step.step} is"),)
    if step.stays and not request.attending:
        return (_refused(request, ATTEND if step.opens_case else STAY_NOW),)
    if step.reboot and boot == step.boot:
        return (
            _refused(
                request,
                "the rig has not been started anew since the step was asked; shut it down, "
                "do the step, start it, and confirm then",
            ),
        )
    return (
        _answered(request, accepted=True, text=f"step {step.step} is confirmed"),
        r.StepConfirmed(
            step=step.step,
            by=request.by,
            note=request.note,
            attending=request.attending,
            before=before,
            boot=boot if alone else "",
        ),
    )


def _rerun(state: RunState, request: r.Request, fingerprint: Mapping[str, str] | None) -> Records:
    unknown = [key for key in request.cells if key not in state.progress]
    if unknown or not request.cells:
        return (_refused(request, f"no such cells: {', '.join(unknown) or 'none named'}"),)
    asked = tuple(dict.fromkeys(request.cells))
    due = [key for key in asked if _is_due_again(state.progress[key])]
    reopened = tuple(
        r.CellReopened(
            cell=key,
            superseded=_not_superseded(state.progress[key]),
            by=request.by,
            reason=request.note,
        )
        for key in asked
        if key not in due
    )
    parts = [f"{_cells(len(reopened))} measured again"] if reopened else []
    if due:
        parts.append(f"{_cells(len(due))} to be measured again already, and no pass has come since")
    answered = _answered(request, accepted=True, text="; ".join(parts))
    if not reopened:
        return (answered,)
    group = () if fingerprint is None else group_for(state, fingerprint, accepted=state.accepted)
    return (*reopened, answered, *group)


def _not_superseded(progress: Progress) -> tuple[int, ...]:
    """Return the attempts whose place a rerun would take: those since the last one."""
    return tuple(range(progress.superseded + 1, progress.attempts + 1))


def _is_due_again(progress: Progress) -> bool:
    """Return whether a rerun is asked for already, and nothing has come of it yet."""
    began = progress.state is r.CellState.OPEN and progress.superseded > 0
    return began and not _not_superseded(progress)


def _cells(count: int) -> str:
    return "1 cell is" if count == 1 else f"{count} cells are"


def _answered(request: r.Request, *, accepted: bool, text: str) -> r.RequestAnswered:
    return r.RequestAnswered(request=request.number, accepted=accepted, answer=text)


def _refused(request: r.Request, text: str) -> r.RequestAnswered:
    return _answered(request, accepted=False, text=text)
