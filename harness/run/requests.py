"""What a person asks of a run, and the answer.

Pure. Called by ``decide`` only. Every request is answered with a record, also one that
cannot be granted.
"""

from __future__ import annotations

from typing import assert_never

from harness.run import records as r
from harness.run.state import RunState
from harness.run.transitions import Phase

Records = tuple[r.Record, ...]


def answer(state: RunState, request: r.Request, *, boot: str) -> Records:
    """Return the records that answer *request*: the answer, and what it brings about."""
    match request.kind:
        case r.RequestKind.CONFIRM:
            return _confirm(state, request, boot=boot)
        case r.RequestKind.STOP:
            if state.phase is Phase.IDLE:
                return (
                    _answered(request, accepted=True, text="the run stops"),
                    r.RunPaused(reason=f"{request.by} asked for it"),
                )
            return (_refused(request, f"the run is {state.phase.value}; there is nothing to stop"),)
        case r.RequestKind.RERUN:
            return _rerun(state, request)
        case _:
            assert_never(request.kind)


def _confirm(state: RunState, request: r.Request, *, boot: str) -> Records:
    step = state.step
    if step is None:
        return (_refused(request, "no step is open"),)
    if request.step is not None and request.step != step.step:
        return (_refused(request, f"step {request.step} is not open; step {step.step} is"),)
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
        r.StepConfirmed(step=step.step, by=request.by, note=request.note),
    )


def _rerun(state: RunState, request: r.Request) -> Records:
    unknown = [key for key in request.cells if key not in state.progress]
    if unknown or not request.cells:
        return (_refused(request, f"no such cells: {', '.join(unknown) or 'none named'}"),)
    reopened = tuple(
        r.CellReopened(
            cell=key,
            superseded=tuple(range(1, state.progress[key].attempts + 1)),
            by=request.by,
            reason=request.note,
        )
        for key in dict.fromkeys(request.cells)
    )
    return (
        *reopened,
        _answered(request, accepted=True, text=f"{len(reopened)} cells are measured again"),
    )


def _answered(request: r.Request, *, accepted: bool, text: str) -> r.RequestAnswered:
    return r.RequestAnswered(request=request.number, accepted=accepted, answer=text)


def _refused(request: r.Request, text: str) -> r.RequestAnswered:
    return _answered(request, accepted=False, text=text)
