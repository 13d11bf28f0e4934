"""Warm-up passes until steady, and preload passes that warm a part into a gate's band.

Pure. ``decide`` asks whether the warm-up of a cell is over; ``apply`` counts, and runs no rule.

A preload pass runs the title itself, whole, as a warm-up pass would, and counts as nothing.
The wait after it lets the part fall into the band from above. It never goes on for ever: when
as many passes, or as much time, went into preloading as the gate has patience, the next wait
may not ask for more, and the gate gives up.
"""

from __future__ import annotations

from dataclasses import replace

from harness.plan.document import Gate
from harness.plan.main_figure import main_figure
from harness.rules.judgement import Judgement, Verdict
from harness.rules.steady import difference, steady
from harness.run import records as r
from harness.run.state import Progress, RunState

#: Preload passes before one pass, at most (common practice, no source).
MOST_PRELOADS = 10


def gates_due(state: RunState) -> tuple[Gate, ...]:
    """Return the plan's gates, those that have preloaded enough without a further preload."""
    if not state.preloads:
        return state.plan.gates
    return tuple(
        replace(gate, preload=False)
        if gate.preload and (state.preloads >= MOST_PRELOADS or state.preload_s >= gate.give_up_s)
        else gate
        for gate in state.plan.gates
    )


def warmed_up(
    state: RunState, started: r.PassStarted, ended: r.PassEnded, judgement: Judgement
) -> tuple[r.CellWarmedUp, ...]:
    """Return that the warm-up of a cell is over, if it goes on until steady and this ends it."""
    within = state.plan.passes.warm_up.within
    if within is None or not counts(started, judgement.verdict):
        return ()
    on = main_figure(state.grid.titles[started.cell])
    progress = state.progress[started.cell]
    figures = (*progress.warm_up_figures, figure(on, ended, judgement.verdict))
    most = state.plan.passes.warm_up.at_most
    agreed = steady(figures, within=within)
    if not agreed and len(figures) < most:
        return ()
    apart = difference(figures)
    far = "cannot be compared" if apart is None else f"differ by {100 * apart:.3g} %"
    return (
        r.CellWarmedUp(
            cell=started.cell,
            attempt=started.attempt,
            on=on,
            passes=len(figures),
            difference=apart,
            within=within,
            steady=agreed,
            reason=f"{on} of the last two of {len(figures)} warm-up passes {far}, "
            f"{100 * within:g} % allowed",
        ),
    )


def counts(started: r.PassStarted, verdict: Verdict) -> bool:
    """Return whether a pass counts as a warm-up pass."""
    worth = verdict not in (Verdict.FAILED, Verdict.INTERRUPTED)
    return started.warm_up and not started.preload and worth


def figure(on: str, ended: r.PassEnded, verdict: Verdict) -> float | None:
    """Return the figure *on* of a pass; None where the pass is void or has none."""
    if verdict is not Verdict.KEPT:
        return None
    return next((each.value for each in ended.figures if each.name == on), None)


def count(state: RunState, started: r.PassStarted, ended: r.PassEnded, verdict: Verdict) -> None:
    """Enter a pass that counts as a warm-up into its cell's progress."""
    if not counts(started, verdict):
        return
    progress = state.progress[started.cell]
    progress.warm_ups += 1
    if state.plan.passes.warm_up.within is not None:
        on = main_figure(state.grid.titles[started.cell])
        progress.warm_up_figures = (*progress.warm_up_figures, figure(on, ended, verdict))


def cell_warmed_up(state: RunState, record: r.CellWarmedUp) -> None:
    """Note that the warm-up of a cell is over, and whether its passes are to be marked."""
    progress = state.progress[record.cell]
    progress.warmed = True
    progress.unsteady = "" if record.steady else record.reason


def begin_again(progress: Progress) -> None:
    """Ask for the warm-up passes of a cell again.

    Those that failed stay counted until a counted pass is over: else a cell whose warm-up fails
    after every start and every visit would hold the run for ever.
    """
    progress.warm_ups = 0
    progress.warm_up_figures, progress.warmed, progress.unsteady = (), False, ""


def preload_started(state: RunState, record: r.PassStarted) -> None:
    """Count a preload pass; any other pass ends the preloading before it."""
    if record.preload:
        state.preloads += 1
        state.preload_s += record.waited_s
    else:
        preload_over(state)


def preload_ended(state: RunState, record: r.PassEnded) -> None:
    """Add what a preload pass took."""
    if state.passing is not None and state.passing.preload and record.end is not None:
        state.preload_s += record.end.wall_s


def preload_over(state: RunState) -> None:
    """Begin the count of preload passes again."""
    state.preloads, state.preload_s = 0, 0.0
