"""The verdict on one pass by itself: kept, void, failed or interrupted, and why.

Pure. Nothing is believed because a command exited 0. The questions are asked in the order
of this table; the first that finds something gives the verdict, and later ones may add to
its reason:

    question                                     verdict       fault
    a limit was passed, or its reading lost      void          limit, sensor-lost
    the runner was told to stop                  interrupted   stopped
    a device was lost                            void          device-lost
    the machine was suspended in the pass        void          slept
    a command was not started                    failed        not-found, not-executable,
                                                               not-started
    a step beside the title failed               failed        files-failed, prepare-failed,
                                                               recorder-failed, tidy-failed
    the title failed                             failed        exited, signal, timed-out,
                                                               silent, still, never-alive
    processes could not be ended                 void          rig-not-quiet
    the clock of the day jumped in the pass      void          clock-jumped
    a watched file of the title changed          void          settings-changed
    the capture cannot be taken                  void          as the meter names it
    a figure that the title must report is       void          no-figure
    missing, or nothing was measured at all
    under load a level is not what it must be    void          level-under-load
    a guard was breached                         void          guard
    otherwise                                    kept

*Void* says that the pass cannot tell what the cell is worth, *failed* that the command did
not do its work: only faults that fail are counted towards ``faults`` of the plan.
"""

from __future__ import annotations

from typing import assert_never

from harness.plan.document import Title
from harness.rig.crossings import ExpectNotMet, GuardBreached, LimitBreached
from harness.rig.tasks import CommandEnd, EndedBy, OtherLoad, PassReport
from harness.rules.judgement import Judgement, Measured, Verdict

#: Two clocks read one after the other differ by microseconds; no suspend is this short.
LEAST_SLEEP_S = 0.1

_NAMED_SURVIVORS = 5


def judge(
    report: PassReport, measured: Measured | None, *, title: Title, marks: tuple[str, ...]
) -> Judgement:
    """Return the verdict on one pass, whatever the other passes of its cell say.

    Args:
        report: What happened.
        measured: What was read from captures and output; None where nothing was read.
        title: The plan's entry for the title.
        marks: What the pass was already marked with before it started; kept with it.
    """
    verdict, fault, reason = _verdict(report, measured, title)
    survivors = report.end.survivors
    if survivors and fault != "rig-not-quiet":
        reason = f"{reason}; {_survivors(survivors)}"
    return Judgement(verdict=verdict, reason=reason, fault=fault, marks=marks)


def _verdict(
    report: PassReport, measured: Measured | None, title: Title
) -> tuple[Verdict, str | None, str]:
    end = report.end
    if report.limit is not None:
        lost = report.limit.value is None
        return Verdict.VOID, "sensor-lost" if lost else "limit", limit_in_pass(report, report.limit)
    if end.by is EndedBy.LIMIT:
        return Verdict.VOID, "limit", f"a limit ended the command after {_seconds(end.wall_s)}"
    if end.by is EndedBy.STOPPED:
        return Verdict.INTERRUPTED, "stopped", end_words(end)
    if report.device_lost is not None:
        return Verdict.VOID, "device-lost", report.device_lost
    if report.slept_s >= LEAST_SLEEP_S:
        reason = f"the machine was suspended for {_seconds(report.slept_s)} during the pass"
        return Verdict.VOID, "slept", reason
    fault = _fault(end)
    if fault is not None:
        if report.failed_step is None:
            return Verdict.FAILED, fault, end_words(end)
        if report.failed_step == "files":
            return Verdict.FAILED, "files-failed", end.detail
        if not _refused(end):
            fault = f"{report.failed_step.split()[0]}-failed"
        return Verdict.FAILED, fault, f"step {report.failed_step}: {end_words(end)}"
    if end.survivors:
        return Verdict.VOID, "rig-not-quiet", _survivors(end.survivors)
    if report.clock_jumped_s:
        # A title that takes its times from it has measured nothing; whether it does, nobody knows.
        return Verdict.VOID, "clock-jumped", _jump(report.clock_jumped_s)
    if report.changed_files:
        return Verdict.VOID, "settings-changed", "; ".join(report.changed_files)
    if measured is None:
        return Verdict.VOID, "no-capture", "nothing was read from the pass"
    if measured.problem is not None:
        fault = measured.fault or "unreadable-capture"
        recorded = f"; {end_words(report.recorder)}" if report.recorder is not None else ""
        return Verdict.VOID, fault, measured.problem + (recorded if fault == "no-capture" else "")
    missing = _missing(measured, title)
    if missing is not None:
        return Verdict.VOID, "no-figure", missing
    if report.expects:
        reason = "; ".join(expect_words(each) for each in report.expects)
        return Verdict.VOID, "level-under-load", reason
    if report.guards:
        reason = "; ".join(guard_words(each) for each in report.guards)
        return Verdict.VOID, "guard", reason + other_words(report.others)
    return Verdict.KEPT, None, "all checks passed"


def _fault(end: CommandEnd) -> str | None:
    """Return the fault of a command that did not do its work, or None."""
    match end.by:
        case EndedBy.EXIT:
            return None if end.status == 0 else "exited"
        case EndedBy.SIGNAL:
            return "signal"
        case EndedBy.TIME_LIMIT:
            return "timed-out"
        case EndedBy.NOT_FOUND:
            return "not-found"
        case EndedBy.NOT_EXECUTABLE:
            return "not-executable"
        case EndedBy.NOT_STARTED:
            return "not-started"
        case EndedBy.LIMIT:
            return "limit"
        case EndedBy.STOPPED:
            return "stopped"
        case EndedBy.SILENT:
            return "silent"
        case EndedBy.STILL:
            return "still"
        case EndedBy.NEVER_ALIVE:
            return "never-alive"
        case EndedBy.RECORDER:
            return "recorder-failed"
        case _:
            assert_never(end.by)


def _refused(end: CommandEnd) -> bool:
    """Return whether the command was not started at all."""
    return end.by in (EndedBy.NOT_FOUND, EndedBy.NOT_EXECUTABLE, EndedBy.NOT_STARTED)


def _missing(measured: Measured, title: Title) -> str | None:
    """Return in words which figure the title must report and did not, or None."""
    missing = []
    for spec in title.figures:
        figure = measured.figure(spec.name)
        if figure is None:
            missing.append(f"{spec.name} was not measured: nothing was read for it")
        elif figure.value is None:
            missing.append(f"{spec.name} was not measured: {figure.why}")
    if missing:
        return "; ".join(missing)
    if all(figure.value is None for figure in measured.figures):
        whys = "; ".join(f"{f.name}: {f.why}" for f in measured.figures)
        return f"no figure was measured: {whys}" if whys else "no figure was measured"
    return None


def end_words(end: CommandEnd) -> str:
    """Return how a command ended as a person reads it.

    >>> end_words(CommandEnd(argv=("lantern-quay",), by=EndedBy.EXIT, wall_s=41.2, status=3))
    'lantern-quay exited with status 3 after 41.2 s'
    """
    program = end.argv[0] if end.argv else "the command"
    after = f"after {_seconds(end.wall_s)}"
    detail = f": {end.detail}" if end.detail else ""
    match end.by:
        case EndedBy.EXIT:
            return f"{program} exited with status {end.status} {after}{detail}"
        case EndedBy.SIGNAL:
            return f"{program} was ended by signal {end.signal} {after}{detail}"
        case EndedBy.TIME_LIMIT:
            return f"{program} ran into its time limit and was ended {after}{detail}"
        case EndedBy.LIMIT:
            return f"{program} was ended by a safety limit {after}{detail}"
        case EndedBy.STOPPED:
            return f"{program} was ended {after}, because the runner was told to stop{detail}"
        case EndedBy.SILENT:
            return f"{program} wrote no output and was ended {after}{detail}"
        case EndedBy.STILL:
            return f"{program} wrote no capture and was ended {after}{detail}"
        case EndedBy.NEVER_ALIVE:
            return f"{program} ended well {after}{detail}"
        case EndedBy.RECORDER:
            return f"{program} was ended {after}, because its recorder had failed{detail}"
        case EndedBy.NOT_FOUND:
            return f"{program} was not found{detail}"
        case EndedBy.NOT_EXECUTABLE:
            return f"{program} may not be carried out{detail}"
        case EndedBy.NOT_STARTED:
            return f"{program} could not be started{detail}"
        case _:
            assert_never(end.by)


def limit_in_pass(report: PassReport, breach: LimitBreached) -> str:
    """Return a breach of a limit in a pass as a person reads it, with the step it was in."""
    where = f"step {report.limit_step}: " if report.limit_step else ""
    return where + limit_words(breach)


def limit_words(breach: LimitBreached) -> str:
    """Return a breach of a limit, in a wait or in a pass, as a person reads it."""
    must = f"{breach.reading} must be {breach.bound}; after {_seconds(breach.at_s)}"
    if breach.value is None:
        return f"{must}: {breach.why}"
    flag = breach.bound in ("true", "false")
    return f"{must} it was {_value(bool(breach.value) if flag else breach.value, breach.unit)}"


def guard_words(breach: GuardBreached) -> str:
    """Return a breach of a guard as a person reads it."""
    why = f": {breach.why}" if breach.why else ""
    if breach.share is None and not breach.measured:
        return f"{breach.reading} must be {breach.bound}, and was never measured in the pass{why}"
    if breach.share is None:
        return (
            f"{breach.reading} must be {breach.bound}, and was measured in only {breach.measured} "
            f"of {breach.seen} samples{why}"
        )
    worst = ""
    if breach.worst is not None:
        worst = f", at worst {_value(breach.worst, breach.unit)}"
    allowed = f"; allowed {breach.allowed}" if breach.allowed else ""
    return (
        f"{breach.reading} was not {breach.bound} in {breach.samples} of {breach.measured} "
        f"samples ({100.0 * breach.share:.3g} %){worst}{allowed}"
    )


def expect_words(missed: ExpectNotMet) -> str:
    """Return what a level expects and a pass did not show, as a person reads it."""
    must = f"{missed.reading} must be {missed.bound} under load"
    if missed.best is None:
        return f"{must}, and was not measured: {missed.why}"
    samples = f"{missed.samples} sample{'' if missed.samples == 1 else 's'}"
    return f"{must}; at its best of {samples} it was {_value(missed.best, missed.unit)}"


def other_words(others: tuple[OtherLoad, ...]) -> str:
    """Return who else was at work, to be added to a reason; nothing where nobody is known."""
    if not others:
        return ""
    named = ", ".join(f"{o.name} ({o.pid}) {100.0 * o.share:.2g} %" for o in others)
    return f"; other processes at work: {named} of the processors' time"


def _value(value: float | bool | str, unit: str) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return value
    return f"{value:.6g} {unit}".rstrip()


def _jump(by_s: float) -> str:
    way = "forward" if by_s > 0 else "back"
    return f"the clock of the day was set {way} by {_seconds(abs(by_s))} during the pass"


def _seconds(seconds: float) -> str:
    return f"{seconds:.1f} s"


def _survivors(names: tuple[str, ...]) -> str:
    shown = "; ".join(names[:_NAMED_SURVIVORS])
    more = f" and {len(names) - _NAMED_SURVIVORS} more" if len(names) > _NAMED_SURVIVORS else ""
    what = "a process" if len(names) == 1 else f"{len(names)} processes"
    return f"{what} could not be ended: {shown}{more}"
