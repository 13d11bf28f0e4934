"""The verdict on one pass by itself: kept, void, failed or interrupted, and why.

Pure. Nothing is believed because a command exited 0. The questions are asked in the order
of this table; the first that finds something gives the verdict, and later ones may add to
its reason:

    question                                     verdict       fault
    a limit was passed, or its reading lost      void          limit
    the runner was told to stop                  interrupted   stopped
    the machine was suspended in the pass        void          slept
    a command was not started                    failed        not-found, not-executable,
                                                               not-started
    a step before or after the title failed      failed        prepare-failed, tidy-failed
    the title failed                             failed        exited, signal, timed-out
    processes could not be ended                 void          rig-not-quiet
    the capture cannot be taken                  void          as the meter names it
    a figure that the title must report is       void          no-figure
    missing, or nothing was measured at all
    a guard was breached                         void          guard
    otherwise                                    kept

*Void* says that the pass cannot tell what the cell is worth, *failed* that the command did
not do its work: only faults that fail are counted towards ``faults`` of the plan.
"""

from __future__ import annotations

from typing import assert_never

from harness.plan.document import Title
from harness.rig.crossings import GuardBreached, LimitBreached
from harness.rig.tasks import CommandEnd, EndedBy, PassReport
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
        return Verdict.VOID, "limit", limit_words(report.limit)
    if end.by is EndedBy.LIMIT:
        return Verdict.VOID, "limit", f"a limit ended the command after {_seconds(end.wall_s)}"
    if end.by is EndedBy.STOPPED:
        return Verdict.INTERRUPTED, "stopped", end_words(end)
    if report.slept_s >= LEAST_SLEEP_S:
        reason = f"the machine was suspended for {_seconds(report.slept_s)} during the pass"
        return Verdict.VOID, "slept", reason
    fault = _fault(end)
    if fault is not None:
        if report.failed_step is None:
            return Verdict.FAILED, fault, end_words(end)
        if not _refused(end):
            fault = "tidy-failed" if report.failed_step.startswith("tidy") else "prepare-failed"
        return Verdict.FAILED, fault, f"step {report.failed_step}: {end_words(end)}"
    if end.survivors:
        return Verdict.VOID, "rig-not-quiet", _survivors(end.survivors)
    if measured is None:
        return Verdict.VOID, "no-capture", "nothing was read from the pass"
    if measured.problem is not None:
        return Verdict.VOID, measured.fault or "unreadable-capture", measured.problem
    missing = _missing(measured, title)
    if missing is not None:
        return Verdict.VOID, "no-figure", missing
    if report.guards:
        return Verdict.VOID, "guard", "; ".join(guard_words(each) for each in report.guards)
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
        case EndedBy.NOT_FOUND:
            return f"{program} was not found{detail}"
        case EndedBy.NOT_EXECUTABLE:
            return f"{program} may not be carried out{detail}"
        case EndedBy.NOT_STARTED:
            return f"{program} could not be started{detail}"
        case _:
            assert_never(end.by)


def limit_words(breach: LimitBreached) -> str:
    """Return a breach of a limit, in a wait or in a pass, as a person reads it."""
    must = f"{breach.reading} must be {breach.bound}; after {_seconds(breach.at_s)}"
    if breach.value is None:
        return f"{must}: {breach.why}"
    flag = breach.bound in ("true", "false")
    return f"{must} it was {_value(bool(breach.value) if flag else breach.value, breach.unit)}"


def guard_words(breach: GuardBreached) -> str:
    """Return a breach of a guard as a person reads it."""
    if breach.share is None:
        return f"{breach.reading} must be {breach.bound}, and was never measured in the pass"
    worst = ""
    if breach.worst is not None:
        worst = f", at worst {_value(breach.worst, breach.unit)}"
    return (
        f"{breach.reading} was not {breach.bound} in {breach.samples} of {breach.measured} "
        f"samples ({100.0 * breach.share:.3g} %){worst}"
    )


def _value(value: float | bool | str, unit: str) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return value
    return f"{value:.6g} {unit}".rstrip()


def _seconds(seconds: float) -> str:
    return f"{seconds:.1f} s"


def _survivors(names: tuple[str, ...]) -> str:
    shown = "; ".join(names[:_NAMED_SURVIVORS])
    more = f" and {len(names) - _NAMED_SURVIVORS} more" if len(names) > _NAMED_SURVIVORS else ""
    what = "a process" if len(names) == 1 else f"{len(names)} processes"
    return f"{what} could not be ended: {shown}{more}"
