"""decide(state, observation) -> records: what is to be kept of what happened.

Pure. Every rule of the plan runs here and nowhere else: verdicts, discards, acceptance,
faults in a row, holds. The records say what was decided and why; ``apply`` only applies
them.
"""

from __future__ import annotations

from typing import assert_never

from harness.plan.document import Bound
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading, shown
from harness.rig.tasks import CommandEnd, EndedBy, attempt_name
from harness.rules.judge import end_words, expect_words, judge
from harness.rules.judgement import Judgement, Verdict
from harness.rules.under_load import UNDER_LOAD
from harness.run import observations as o
from harness.run import records as r
from harness.run.after_limit import held_by_limit, proof_over
from harness.run.clock_watch import jumped_unwatched
from harness.run.closing import close, faults_in_a_row, held
from harness.run.groups import group_for
from harness.run.passes import numbers
from harness.run.pick import due
from harness.run.refused import of_store, on_record
from harness.run.requests import answer
from harness.run.reuse import after_reference, gave_up_reference, offered, taken_now
from harness.run.state import RunState
from harness.run.transitions import Phase
from harness.run.waits import wait_over
from harness.run.warming import warmed_up

Records = tuple[r.Record, ...]


def decide(state: RunState, observation: o.Observation) -> Records:
    """Return the records that *observation* leads to in *state*, to be kept in order."""
    match observation:
        case o.RunnerCameUp():
            return _runner_came_up(state, observation)
        case o.WentOn():
            taken = taken_now(state)
            if taken:
                return taken
            record = due(state, boot=observation.boot, now=observation.now)
            return (record,) if record is not None else ()
        case o.RequestCame():
            return answer(
                state,
                observation.request,
                boot=observation.boot,
                fingerprint=observation.fingerprint,
                before=observation.before,
                alone=observation.alone,
            )
        case o.LevelReported():
            return _level_reported(state, observation)
        case o.PutBackReported():
            return _put_back_reported(state, observation)
        case o.SettleOver():
            return (r.RigSettled(seconds=observation.seconds),)
        case o.WaitOver():
            return wait_over(state, observation)
        case o.PassOver():
            return _pass_over(state, observation)
        case o.ProofOver():
            return proof_over(state, observation)
        case o.ClockMoved(by_s=by_s, slept_s=slept_s):
            return (r.ClockJumped(by_s=by_s, slept_s=slept_s),)
        case o.StopCame():
            return _stop_came(state, observation)
        case _:
            assert_never(observation)


def _runner_came_up(state: RunState, came: o.RunnerCameUp) -> Records:
    records: list[r.Record] = []
    if state.passing is not None:
        cell, attempt = state.passing.cell, state.passing.attempt
        records += (
            r.PassEnded(cell=cell, attempt=attempt, end=None, bundle=came.bundle),
            r.PassJudged(
                cell=cell,
                attempt=attempt,
                verdict=Verdict.INTERRUPTED,
                reason="the runner was gone before the pass had ended",
                fault="interrupted",
            ),
        )
    records.append(
        r.RunnerStarted(
            ended=came.ended,
            given_back=came.given_back,
            sleep=came.sleep,
            attended_by=came.attended_by,
            clocks=came.clocks,
            after=came.after,
        )
    )
    records += jumped_unwatched(state.clocks, came.clocks, last_at=came.last_at)
    accepted = state.accepted
    if state.hold is not None:
        release = next((each for each in came.releases if each.hold == state.hold.hold), None)
        if release is None:
            return tuple(records)
        records.append(r.RigReleased(hold=release.hold, by=release.by, note=release.note))
        accepted = dict(state.hold.changed)
    records += on_record(state, came.releases)
    if came.holds:
        other = came.holds[0]
        fault = "store-refused" if of_store(other.id, state.run) else "held"
        records.append(r.RigHeld(hold=other.id, fault=fault, reason=other.reason, do=other.do))
    elif came.survivors:
        reason = "processes of an earlier pass could not be ended: " + "; ".join(came.survivors)
        records.append(held(state, "rig-not-quiet", reason))
    elif state.phase is not Phase.FINISHED:
        group = group_for(state, came.fingerprint, accepted=accepted, unread=came.unread)
        offer = offered(state, came.offers, came.fingerprint) if state.group == 0 else None
        records += group if offer is None else (*group, offer)
    return tuple(records)


def _level_reported(state: RunState, reported: o.LevelReported) -> Records:
    condition, level, report = reported.condition, reported.level, reported.report
    part = state.grid.levels[condition, level]
    if report.limit is not None:
        hold = held_by_limit(state, report.limit, step=f"{condition} {level}")
        not_met = r.LevelNotMet(
            condition=condition,
            level=level,
            fault=hold.fault,
            reason=hold.reason,
            readings=report.readings,
        )
        return (not_met, hold)
    if report.end is not None and report.end.survivors:
        reason = "; ".join(report.end.survivors)
        return (
            r.LevelNotMet(
                condition=condition,
                level=level,
                fault="rig-not-quiet",
                reason=reason,
                readings=report.readings,
            ),
            held(state, "rig-not-quiet", f"{condition} {level}: {reason}"),
        )
    bounds = (*part.expect, *part.needs)
    problem = _command_problem(report.end) or _unmet(bounds, report.readings)
    if not problem:
        return (r.LevelVerified(condition=condition, level=level, readings=report.readings),)
    not_met = r.LevelNotMet(
        condition=condition,
        level=level,
        fault="level-not-met",
        reason=problem,
        readings=report.readings,
    )
    by_person = state.believed.get(condition) == level
    if by_person or state.level_faults < state.plan.faults.again:
        return (not_met,)
    return (not_met, held(state, "level-not-met", f"{condition} {level}: {problem}"))


def _command_problem(end: CommandEnd | None) -> str:
    """Return in words why a plain command did not do its work, or nothing."""
    if end is None or (end.by is EndedBy.EXIT and end.status == 0):
        return ""
    return end_words(end)


def _unmet(bounds: tuple[Bound, ...], readings: tuple[Reading, ...]) -> str:
    """Return in words which bounds do not hold; a reading not measured does not hold."""
    found = {reading.name: reading for reading in readings}
    problems = []
    for bound in bounds:
        reading = found.get(bound.reading)
        if reading is not None and reading.measured and bound.reading in UNDER_LOAD:
            continue  # at rest it says nothing: the passes judge it
        if reading is None or met(bound, reading) is not Met.MET:
            was = "not read" if reading is None else shown(reading)
            problems.append(f"{bound.reading} must be {words(bound)}, is {was}")
    return "; ".join(problems)


def _put_back_reported(state: RunState, reported: o.PutBackReported) -> Records:
    problem = _command_problem(reported.end)
    back = r.LevelPutBack(condition=reported.condition, level=reported.level, problem=problem)
    if problem and state.phase is not Phase.HELD:
        what = f"{reported.condition} {reported.level} could not be put back: {problem}"
        return (back, held(state, "not-put-back", what))
    if reported.limit is not None and state.phase is not Phase.HELD:
        step = f"put_back of {reported.condition} {reported.level}"
        return (back, held_by_limit(state, reported.limit, step=step))
    return (back,)


def _pass_over(state: RunState, over: o.PassOver) -> Records:
    started = state.passing
    assert started is not None
    report, measured = over.report, over.measured
    judgement = judge(report, measured, title=state.grid.titles[started.cell], marks=started.marks)
    ended = r.PassEnded(
        cell=started.cell,
        attempt=started.attempt,
        end=report.end,
        failed_step=report.failed_step,
        bundle=over.bundle,
        figures=measured.figures,
        flags=measured.flags,
        notes=measured.notes,
        frames=measured.frames,
        readings=over.readings,
        guards=report.guards,
        expects=report.expects,
        others=report.others,
        limit=report.limit,
        limit_step=report.limit_step,
        recorder=report.recorder,
        changed_files=report.changed_files,
        slept_s=report.slept_s,
        harness_cpu_s=report.harness_cpu_s,
        clock_jumped_s=report.clock_jumped_s,
        harness_cost=measured.harness_cost,
    )
    judged = r.PassJudged(
        cell=started.cell,
        attempt=started.attempt,
        verdict=judgement.verdict,
        reason=judgement.reason,
        fault=judgement.fault,
        marks=judgement.marks,
    )
    records: list[r.Record] = [ended, judged]
    if report.clock_jumped_s:
        name = attempt_name(started.cell, started.attempt)
        records.append(r.ClockJumped(by_s=report.clock_jumped_s, during=name))
    records += warmed_up(state, started, ended, judgement)
    if not started.reference:
        records += close(
            state,
            started.cell,
            started.attempt,
            warm_up=started.warm_up,
            verdict=judgement.verdict,
            figures=numbers(ended),
            fault=judgement.fault,
        )
    else:
        records += _reference_over(state, started, ended, judgement)
    stop = _rig_stop(state, over, judgement)
    if stop is not None:
        records.append(stop)
    return tuple(records)


def _reference_over(
    state: RunState, started: r.PassStarted, ended: r.PassEnded, judgement: Judgement
) -> Records:
    """Return what a reference pass means for the cells that are offered."""
    if judgement.verdict is Verdict.INTERRUPTED:
        return ()
    if judgement.verdict is Verdict.KEPT:
        return () if started.warm_up else after_reference(state, ended)
    return gave_up_reference(state) if state.reference_faults >= state.plan.faults.again else ()


def _rig_stop(state: RunState, over: o.PassOver, judgement: Judgement) -> r.Record | None:
    """Return what a pass leads to for the rig itself: a hold, a pause, or nothing."""
    report, started = over.report, state.passing
    assert started is not None
    if report.limit is not None:
        return held_by_limit(state, report.limit, step=report.limit_step)
    if report.device_lost is not None:
        return held(state, "device-lost", report.device_lost)
    if report.end.survivors:
        return held(state, "rig-not-quiet", "; ".join(report.end.survivors))
    if report.not_given_back:
        what = "what a pass had put in place could not be given back: "
        return held(state, "files-not-given-back", what + "; ".join(report.not_given_back))
    if judgement.verdict is Verdict.INTERRUPTED:
        return r.RunPaused(reason="told to stop in the middle of a pass")
    if report.expects:
        reason = "; ".join(expect_words(each) for each in report.expects)
        return held(state, "level-under-load", reason)
    if started.reference:
        return None
    return faults_in_a_row(state, started.cell, warm_up=started.warm_up, judgement=judgement)


def _stop_came(state: RunState, stop: o.StopCame) -> Records:
    # An open step stays open, and a held or finished run has nothing to pause.
    return (r.RunPaused(reason=stop.reason),) if state.phase is Phase.IDLE else ()
