"""decide(state, observation) -> records: what is to be kept of what happened.

Pure. Every rule of the plan runs here and nowhere else: verdicts, discards, acceptance,
faults in a row, holds. The records say what was decided and why; ``apply`` only applies
them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import assert_never

from harness.plan.document import Bound, Gate, Then
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.crossings import GateGaveUp, LimitBreached, Woken
from harness.rig.readings import Reading, shown
from harness.rig.tasks import CommandEnd, EndedBy
from harness.rules.judge import end_words, judge, limit_words
from harness.rules.judgement import Judgement, Verdict
from harness.run import observations as o
from harness.run import records as r
from harness.run.closing import close, faults_in_a_row, held, skip
from harness.run.passes import numbers
from harness.run.pick import due, upcoming
from harness.run.requests import answer
from harness.run.state import RunState, warm_up_due
from harness.run.transitions import Phase

Records = tuple[r.Record, ...]


def decide(state: RunState, observation: o.Observation) -> Records:
    """Return the records that *observation* leads to in *state*, to be kept in order."""
    match observation:
        case o.RunnerCameUp():
            return _runner_came_up(state, observation)
        case o.WentOn():
            record = due(state, boot=observation.boot)
            return (record,) if record is not None else ()
        case o.RequestCame():
            return answer(state, observation.request, boot=observation.boot)
        case o.LevelReported():
            return _level_reported(state, observation)
        case o.PutBackReported():
            return _put_back_reported(state, observation)
        case o.SettleOver():
            return (r.RigSettled(seconds=observation.seconds),)
        case o.WaitOver():
            return _wait_over(state, observation)
        case o.PassOver():
            return _pass_over(state, observation)
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
    records.append(r.RunnerStarted(ended=came.ended))
    accepted = state.accepted
    if state.hold is not None:
        release = next((each for each in came.releases if each.hold == state.hold.hold), None)
        if release is None:
            return tuple(records)
        records.append(r.RigReleased(hold=release.hold, by=release.by, note=release.note))
        accepted = dict(state.hold.changed)
    if came.holds:
        other = came.holds[0]
        records.append(r.RigHeld(hold=other.id, fault="held", reason=other.reason, do=other.do))
    elif came.survivors:
        records.append(
            held(
                state,
                "rig-not-quiet",
                "processes of an earlier pass could not be ended: " + "; ".join(came.survivors),
            )
        )
    elif state.phase is not Phase.FINISHED:
        records += _group(state, came.fingerprint, accepted=accepted)
    return tuple(records)


def fixed(state: RunState, fields: Mapping[str, str]) -> dict[str, str]:
    """Return the fields that make a group: those that no level is meant to change."""
    return {name: text for name, text in fields.items() if name not in state.grid.free_fields}


def changes(state: RunState, fields: Mapping[str, str]) -> dict[str, str]:
    """Return what differs from the group's fingerprint, of the fields read now."""
    known, free = state.fields, state.grid.free_fields
    return {
        name: text
        for name, text in fields.items()
        if known.get(name, text) != text and name not in free
    }


def _group(state: RunState, fields: Mapping[str, str], *, accepted: Mapping[str, str]) -> Records:
    """Return what a fingerprint leads to: nothing, a group of its own, or a hold.

    A release accepts the changes that its hold has named, and no other.
    """
    if state.group == 0:
        return (r.GroupOpened(group=1, fields=tuple(sorted(fixed(state, fields).items()))),)
    changed = changes(state, fields)
    if not changed:
        return ()
    words = tuple(f"{n} was {state.fields[n]!r}, is {changed[n]!r}" for n in sorted(changed))
    if changed.items() <= accepted.items():
        new = {**state.fields, **fixed(state, fields)}
        fields_now = tuple(sorted(new.items()))
        return (r.GroupOpened(group=state.group + 1, fields=fields_now, changed=words),)
    hold = held(state, "fingerprint-changed", "; ".join(words))
    return (replace(hold, changed=tuple(sorted(changed.items()))),)


def _level_reported(state: RunState, reported: o.LevelReported) -> Records:
    condition, level, report = reported.condition, reported.level, reported.report
    part = state.grid.levels[condition, level]
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
    problem = _command_problem(report.end) or _unmet((*part.expect, *part.needs), report.readings)
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
    return (back,)


def _wait_over(state: RunState, over: o.WaitOver) -> Records:
    if isinstance(over.end, Woken):
        return ()
    if isinstance(over.end, LimitBreached):
        return (held(state, "limit", limit_words(over.end)),)
    group = _group(state, over.fingerprint, accepted=state.accepted)
    if group:
        # A hold, or a new group: what is due next is chosen anew.
        return group
    key, round_started = upcoming(state)
    assert key == over.cell
    marks: tuple[str, ...] = ()
    before: Records = (round_started,) if round_started is not None else ()
    if isinstance(over.end, GateGaveUp):
        text = gate_words(over.end, state.plan.gates[over.end.gate])
        match state.plan.gates[over.end.gate].then:
            case Then.HOLD:
                return (held(state, "gate-gave-up", text),)
            case Then.SKIP:
                return (*before, *skip(state, key, reason=text))
            case Then.MARK:
                marks = (f"gate-gave-up: {text}",)
    here, known = fixed(state, over.fingerprint), state.fields
    new = [(name, text) for name, text in here.items() if name not in known]
    started = r.PassStarted(
        cell=key,
        attempt=state.progress[key].attempts + 1,
        warm_up=warm_up_due(state, key),
        group=state.group,
        block=state.block if state.block is not None else 0,
        round=round_started.round if round_started is not None else state.round,
        waited_s=over.end.waited_s,
        readings=over.readings,
        new_fields=tuple(sorted(new)),
        marks=marks,
    )
    return (*before, started)


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
        limit=report.limit,
        slept_s=report.slept_s,
        harness_cpu_s=report.harness_cpu_s,
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
    records += close(
        state,
        started.cell,
        started.attempt,
        warm_up=started.warm_up,
        verdict=judgement.verdict,
        figures=numbers(ended),
    )
    stop = _rig_stop(state, over, judgement)
    if stop is not None:
        records.append(stop)
    return tuple(records)


def _rig_stop(state: RunState, over: o.PassOver, judgement: Judgement) -> r.Record | None:
    """Return what a pass leads to for the rig itself: a hold, a pause, or nothing."""
    report, started = over.report, state.passing
    assert started is not None
    if report.limit is not None:
        return held(state, "limit", limit_words(report.limit))
    if report.end.survivors:
        return held(state, "rig-not-quiet", "; ".join(report.end.survivors))
    if judgement.verdict is Verdict.INTERRUPTED:
        return r.RunPaused(reason="told to stop in the middle of a pass")
    return faults_in_a_row(state, started.cell, warm_up=started.warm_up, judgement=judgement)


def _stop_came(state: RunState, stop: o.StopCame) -> Records:
    # An open step stays open, and a held or finished run has nothing to pause.
    return (r.RunPaused(reason=stop.reason),) if state.phase is Phase.IDLE else ()


def gate_words(gave_up: GateGaveUp, gate: Gate) -> str:
    """Return why a gate gave up as a person reads it."""
    last = Reading(name=gave_up.reading, unit=gave_up.unit, value=gave_up.value, why=gave_up.why)
    stay = f"stay {gave_up.bound} for {gate.for_s:g} s" if gate.for_s else f"become {gave_up.bound}"
    return (
        f"{gave_up.reading} did not {stay} within {gave_up.waited_s:.0f} s; "
        f"at the last it was {shown(last)}"
    )
