from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.plan.document import Better, Command, FigureFrom, FigureSpec, Title
from harness.rig.crossings import ExpectNotMet, GuardBreached, LimitBreached
from harness.rig.tasks import CommandEnd, EndedBy, OtherLoad, PassReport
from harness.rules.faults import FAULTS
from harness.rules.judge import end_words, judge
from harness.rules.judgement import Figure, Judgement, Measured, Verdict

GOLDEN = Path(__file__).parents[1] / "golden" / "rules" / "verdicts.txt"

TITLE = Title(
    title="Lantern Quay",
    scene="harbour loop",
    settings=("fhd",),
    command=Command(argv=("lantern-quay", "--bench"), time_limit_s=180.0),
)
SCORED = replace(
    TITLE,
    title="Basalt Run",
    figures=(FigureSpec(name="score", source=FigureFrom.OUTPUT, better=Better.HIGHER),),
)
WELL = CommandEnd(argv=("lantern-quay", "--bench"), by=EndedBy.EXIT, wall_s=71.3, status=0)
RATE = Figure(name="average_fps", value=97.1, unit="frames/s", definition="frames-over-time/1")
MEASURED = Measured(figures=(RATE,))
LIMIT = LimitBreached(
    reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=93.0, why=None, at_s=41.0
)
GUARD = GuardBreached(
    guard=0,
    reading="cpu.load.others",
    bound="at most 15 %",
    share=0.4,
    samples=28,
    measured=70,
    worst=77.25,
    unit="%",
)

EXPECT = ExpectNotMet(reading="gpu.link.width", bound="16", best=8.0, unit="", samples=66)

#: Every row of the table in ``harness.rules.judge`` at least once, and its variants.
CASES: dict[str, tuple[PassReport, Measured | None, Title]] = {
    "all is well": (PassReport(end=WELL), MEASURED, TITLE),
    "limit": (
        PassReport(end=replace(WELL, by=EndedBy.LIMIT, wall_s=41.2), limit=LIMIT),
        None,
        TITLE,
    ),
    "device lost": (
        PassReport(
            end=WELL,
            device_lost="Heron 700, GPU-1f0c, 0000:0a:00.0: the card is lost: it no longer answers "
            "on its bus (NVML 15: GPU is lost); 1 s before it was at 63 °C",
        ),
        MEASURED,
        TITLE,
    ),
    "limit, reading lost": (
        PassReport(
            end=replace(WELL, by=EndedBy.LIMIT, wall_s=41.2),
            limit=replace(LIMIT, value=None, why="lost (no answer)"),
        ),
        None,
        TITLE,
    ),
    "limit on a flag": (
        PassReport(
            end=replace(WELL, by=EndedBy.LIMIT, wall_s=41.2),
            limit=replace(LIMIT, reading="cpu.limited.heat", unit="", bound="false", value=1.0),
        ),
        None,
        TITLE,
    ),
    "limit without its crossing": (
        PassReport(end=replace(WELL, by=EndedBy.LIMIT, wall_s=41.2)),
        None,
        TITLE,
    ),
    "stopped": (PassReport(end=replace(WELL, by=EndedBy.STOPPED, wall_s=12.0)), None, TITLE),
    "slept": (PassReport(end=WELL, slept_s=600.0), MEASURED, TITLE),
    "not found": (
        PassReport(end=replace(WELL, by=EndedBy.NOT_FOUND, wall_s=0.0, status=None)),
        None,
        TITLE,
    ),
    "not executable": (
        PassReport(
            end=replace(WELL, by=EndedBy.NOT_EXECUTABLE, status=None, detail="permission denied")
        ),
        None,
        TITLE,
    ),
    "not started": (
        PassReport(
            end=replace(WELL, by=EndedBy.NOT_STARTED, status=None, detail="argument list too long")
        ),
        None,
        TITLE,
    ),
    "prepare step failed": (
        PassReport(
            end=CommandEnd(argv=("restore-save",), by=EndedBy.EXIT, wall_s=0.2, status=2),
            failed_step="prepare 1",
        ),
        None,
        TITLE,
    ),
    "prepare step not found": (
        PassReport(
            end=CommandEnd(argv=("restore-save",), by=EndedBy.NOT_FOUND, wall_s=0.0),
            failed_step="prepare 1",
        ),
        None,
        TITLE,
    ),
    "tidy step failed": (
        PassReport(
            end=CommandEnd(argv=("close-launcher",), by=EndedBy.EXIT, wall_s=0.2, status=1),
            failed_step="tidy 1",
        ),
        None,
        TITLE,
    ),
    "exited": (PassReport(end=replace(WELL, status=3)), None, TITLE),
    "signal": (
        PassReport(end=replace(WELL, by=EndedBy.SIGNAL, status=None, signal="SIGSEGV")),
        None,
        TITLE,
    ),
    "timed out": (
        PassReport(end=replace(WELL, by=EndedBy.TIME_LIMIT, wall_s=180.0, status=None)),
        None,
        TITLE,
    ),
    "timed out, and one process lives on": (
        PassReport(
            end=replace(
                WELL,
                by=EndedBy.TIME_LIMIT,
                wall_s=180.0,
                status=None,
                survivors=("4711 lantern-quay",),
            )
        ),
        None,
        TITLE,
    ),
    "seven processes live on": (
        PassReport(end=replace(WELL, survivors=tuple(f"471{n} lantern" for n in range(7)))),
        MEASURED,
        TITLE,
    ),
    "nothing was read": (PassReport(end=WELL), None, TITLE),
    "no capture": (
        PassReport(end=WELL),
        Measured(problem="captures/frames.csv is not there", fault="no-capture"),
        TITLE,
    ),
    "unreadable capture": (
        PassReport(end=WELL),
        Measured(problem="frames.csv, line 812: 3 fields, 4 wanted", fault="unreadable-capture"),
        TITLE,
    ),
    "no figure at all": (PassReport(end=WELL), Measured(), TITLE),
    "no figure has a value": (
        PassReport(end=WELL),
        Measured(figures=(replace(RATE, value=None, why="no frames"),)),
        TITLE,
    ),
    "a figure the title must report is missing": (
        PassReport(end=WELL),
        Measured(
            figures=(
                RATE,
                Figure(
                    name="score",
                    value=None,
                    unit="",
                    definition="output/1",
                    why="the pattern is not in the output",
                ),
            )
        ),
        SCORED,
    ),
    "a figure the title must report was not read": (PassReport(end=WELL), MEASURED, SCORED),
    "guard": (PassReport(end=WELL, guards=(GUARD,)), MEASURED, TITLE),
    "guard on a flag, and one never measured": (
        PassReport(
            end=WELL,
            guards=(
                replace(
                    GUARD, reading="gpu.limited.heat", bound="false", worst=True, unit="", share=0.1
                ),
                replace(GUARD, reading="disk.busy", share=None, samples=0, measured=0, worst=None),
            ),
        ),
        MEASURED,
        TITLE,
    ),
    "guard, with what was allowed and who else was at work": (
        PassReport(
            end=WELL,
            guards=(replace(GUARD, allowed="for 10 % of the pass", seen=70),),
            others=(
                OtherLoad(name="package-index", pid=811, share=0.21),
                OtherLoad(name="mail", pid=97, share=0.013),
            ),
        ),
        MEASURED,
        TITLE,
    ),
    "guard measured too seldom": (
        PassReport(
            end=WELL,
            guards=(replace(GUARD, share=None, samples=0, measured=3, seen=70, why="no answer"),),
        ),
        MEASURED,
        TITLE,
    ),
    "link of half the width under load": (
        PassReport(end=WELL, expects=(EXPECT,), guards=(GUARD,)),
        MEASURED,
        TITLE,
    ),
    "link not measured under load": (
        PassReport(end=WELL, expects=(replace(EXPECT, best=None, samples=0, why="no answer"),)),
        MEASURED,
        TITLE,
    ),
}


def verdict_of(name: str) -> Judgement:
    report, measured, title = CASES[name]
    return judge(report, measured, title=title, marks=())


def test_every_verdict_reads_as_in_the_golden_file() -> None:
    lines = []
    for name in CASES:
        judgement = verdict_of(name)
        lines.append(
            f"{name}\n  {judgement.verdict.value} [{judgement.fault}]: {judgement.reason}\n"
        )
    assert "".join(lines) == GOLDEN.read_text("utf-8")


@pytest.mark.parametrize("name", CASES)
def test_a_verdict_has_a_fault_of_the_table_exactly_where_the_pass_is_not_kept(name: str) -> None:
    judgement = verdict_of(name)
    assert (judgement.fault is None) == (judgement.verdict is Verdict.KEPT)
    assert judgement.fault is None or judgement.fault in FAULTS


def test_an_interrupted_pass_is_never_void_or_failed_for_want_of_a_capture() -> None:
    assert verdict_of("stopped").verdict is Verdict.INTERRUPTED


def test_a_limit_is_said_before_that_the_runner_was_told_to_stop() -> None:
    report = PassReport(end=replace(WELL, by=EndedBy.STOPPED), limit=LIMIT)
    assert judge(report, None, title=TITLE, marks=()).fault == "limit"


def test_a_time_limit_reached_because_the_machine_slept_is_not_a_failure_of_the_title() -> None:
    report = PassReport(end=replace(WELL, by=EndedBy.TIME_LIMIT), slept_s=3600.0)
    assert judge(report, None, title=TITLE, marks=()).fault == "slept"


def test_two_clocks_that_differ_by_microseconds_are_no_sleep() -> None:
    report = PassReport(end=WELL, slept_s=0.00004)
    assert judge(report, MEASURED, title=TITLE, marks=()).verdict is Verdict.KEPT


def test_marks_are_kept_with_the_pass() -> None:
    marks = ("gate-gave-up: gpu.temperature",)
    assert judge(PassReport(end=WELL), MEASURED, title=TITLE, marks=marks).marks == marks


def test_a_low_figure_not_measured_does_not_cost_the_pass() -> None:
    thin = Figure(
        name="low_01pct_fps", value=None, unit="frames/s", definition="percentile/1", why="3 frames"
    )
    measured = Measured(figures=(RATE, thin))
    assert judge(PassReport(end=WELL), measured, title=TITLE, marks=()).verdict is Verdict.KEPT


@given(status=st.integers(1, 255))
def test_no_status_but_0_is_believed(status: int) -> None:
    report = PassReport(end=replace(WELL, status=status))
    assert judge(report, MEASURED, title=TITLE, marks=()).verdict is Verdict.FAILED


def test_a_pass_is_kept_only_where_nothing_at_all_is_wrong() -> None:
    # Every combination of what may be wrong, over every way to end.
    for by, limit, slept, guards, survivors, measured in itertools.product(
        EndedBy,
        (None, LIMIT),
        (0.0, 60.0),
        ((), (GUARD,)),
        ((), ("4711 x",)),
        (MEASURED, None, Measured(problem="cut off", fault="unreadable-capture")),
    ):
        for status in (0, 1):
            end = replace(WELL, by=by, status=status, survivors=survivors)
            report = PassReport(end=end, limit=limit, slept_s=slept, guards=guards)
            judgement = judge(report, measured, title=TITLE, marks=())
            well = (
                by is EndedBy.EXIT
                and (status, limit, slept, guards, survivors) == (0, None, 0.0, (), ())
                and measured is MEASURED
            )
            assert (judgement.verdict is Verdict.KEPT) == well
            assert judgement.reason


def test_survivors_are_named_whatever_the_verdict() -> None:
    for name, (report, measured, title) in CASES.items():
        end = replace(report.end, survivors=("4711 lantern-quay",))
        judgement = judge(replace(report, end=end), measured, title=title, marks=())
        assert "4711 lantern-quay" in judgement.reason, name
        assert judgement.reason.count("could not be ended") == 1


def test_a_command_without_a_name_is_still_described() -> None:
    assert end_words(replace(WELL, argv=())) == "the command exited with status 0 after 71.3 s"
