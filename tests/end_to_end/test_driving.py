"""Driving a title with real processes: files, a launcher that leaves, a recorder, silence."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from harness.plan.document import Bound, Command, Files, Limit
from harness.rig.bench import RealBench
from harness.rig.command import Patience
from harness.rig.crossings import LimitBreached
from harness.rig.tasks import EndedBy, LevelTask, PassReport
from harness.rig.tree import having_in_environment
from harness.rules.judge import judge
from harness.rules.judgement import Measured, Verdict
from tests.end_to_end.rigs import FAKE, SHORT, Watch, bench, fake, members, python, task, title

HOT = LimitBreached(
    reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=96.0, why=None, at_s=0.0
)
COOL = Limit(bound=Bound(reading="gpu.temperature", unit="°C", at_most=92.0))
PATIENT = replace(SHORT, appear_s=1.0)


@pytest.fixture(autouse=True)
def _nobody_is_left(tmp_path: Path) -> object:
    """Whatever a test starts is gone when the test is over."""
    yield
    left = having_in_environment("HARNESS_RUN_TOKEN", lambda text: ":run-1:" in text)
    mine = [each for each in left if os.path.realpath(f"/proc/{each.id.pid}/cwd") == str(tmp_path)]
    assert mine == []


def _never() -> bool:
    return False


# --- files --------------------------------------------------------------------------------


@pytest.fixture
def lab(tmp_path: Path) -> Path:
    (tmp_path / "lab.ini").write_text("shadows=high\n")
    (tmp_path / "quay.ini").write_text("shadows=low\n")
    return tmp_path


LENT = Files(put=(("lab.ini", "quay.ini"),), watch=("quay.ini",))


def _with(files: Files, *argv: str, **more: object) -> Callable[[RealBench], PassReport]:
    given = replace(title(*argv, **more), files=files)  # type: ignore[arg-type]
    return lambda rig: rig.carry_out(task(given), _never)


def test_a_title_finds_the_file_that_was_put_and_its_own_is_given_back(lab: Path) -> None:
    report = _with(LENT, "cat", "quay.ini")(bench(lab))
    assert members(report)["output/stdout"] == b"shadows=high\n"
    assert (lab / "quay.ini").read_text() == "shadows=low\n"
    assert (report.changed_files, report.not_given_back) == ((), ())


@pytest.mark.parametrize(
    ("argv", "more"),
    [
        (("false",), {}),
        (("no-such-title",), {}),
        (("sleep", "60"), {"time_limit_s": 0.2}),
        (("true",), {"prepare": [("false",)]}),
        (("true",), {"tidy": [("false",)]}),
    ],
)
def test_a_file_is_given_back_after_every_fault(
    lab: Path, argv: tuple[str, ...], more: dict[str, object]
) -> None:
    _with(LENT, *argv, **more)(bench(lab))
    assert (lab / "quay.ini").read_text() == "shadows=low\n"
    assert not list((lab / "rig" / "originals").iterdir())


def test_a_title_that_rewrites_its_settings_has_measured_something_else(lab: Path) -> None:
    report = _with(LENT, "sh", "-c", "echo shadows=off > quay.ini")(bench(lab))
    (words,) = report.changed_files
    assert words.startswith(f"{lab}/quay.ini changed (sha256 was ")
    verdict = judge(report, Measured(), title=title("true"), marks=())
    assert (verdict.verdict, verdict.fault) == (Verdict.VOID, "settings-changed")
    assert (lab / "quay.ini").read_text() == "shadows=low\n"


def test_a_file_that_cannot_be_put_keeps_the_title_from_starting(lab: Path) -> None:
    (lab / "lab.ini").unlink()
    report = _with(LENT, "touch", "titled", tidy=[("touch", "tidied")])(bench(lab))
    assert report.failed_step == "files"
    assert (lab / "tidied").exists()
    assert not (lab / "titled").exists()
    verdict = judge(report, None, title=title("true"), marks=())
    assert (verdict.verdict, verdict.fault) == (Verdict.FAILED, "files-failed")
    assert verdict.reason == f"{lab}/lab.ini is to be put in place and is not there"


def test_what_a_title_leaves_in_the_way_is_named_and_not_overwritten(lab: Path) -> None:
    report = _with(LENT, "sh", "-c", "rm quay.ini; mkdir quay.ini")(bench(lab))
    (words,) = report.not_given_back
    assert words == f"{lab}/quay.ini: something that is no plain file lies in its place"


def test_a_runner_that_died_in_a_pass_is_made_good_by_the_next(lab: Path) -> None:
    rig = bench(lab)
    pid = os.fork()
    if pid == 0:  # a runner that is killed between putting the file and the title's start
        rig._originals.put(lab / "lab.ini", lab / "quay.ini", owner="run-1-x", give_back=True)
        os._exit(9)
    os.waitpid(pid, 0)
    assert (lab / "quay.ini").read_text() == "shadows=high\n"
    assert bench(lab).recover("run-1").given_back == (f"{lab}/quay.ini",)
    assert (lab / "quay.ini").read_text() == "shadows=low\n"


def test_the_fingerprint_changes_with_a_settings_file(lab: Path) -> None:
    rig, given = bench(lab), replace(title("true"), files=LENT)
    name = "title.files Copper Fen, causeway"
    before = rig.fingerprint(given, full=False)[name]
    (lab / "quay.ini").write_text("what is put over it does not count\n")
    assert rig.fingerprint(given, full=False)[name] == before
    (lab / "lab.ini").write_text("shadows=off\n")
    assert rig.fingerprint(given, full=False)[name] != before


# --- a launcher that leaves ---------------------------------------------------------------


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    """A title under a name of its own: what the kernel calls it is the name of its file."""
    path = tmp_path / "lantern-quay"
    path.write_text('#!/bin/sh\nsleep "$1"\necho done > "$2"\nexit "$3"\n')
    path.chmod(0o755)
    return path


def _launched(rig: RealBench, script: str, *, time_limit_s: float = 5.0) -> PassReport:
    given = replace(
        title("sh", "-c", script, "-", "{captures}/done", time_limit_s=time_limit_s),
        alive="lantern-quay",
    )
    return rig.carry_out(task(given), _never)


@pytest.mark.parametrize(
    "script",
    [
        './lantern-quay 0.6 "$1" 0 & exit 0',
        'setsid ./lantern-quay 0.6 "$1" 0 & exit 0',
        '(sleep 0.4; exec ./lantern-quay 0.6 "$1" 0) & exit 0',
        './lantern-quay 0.6 "$1" 0; sleep 60',  # a launcher that stays
    ],
)
def test_a_pass_lasts_as_long_as_the_title_and_not_as_its_launcher(
    tmp_path: Path, quay: Path, script: str
) -> None:
    report = _launched(bench(tmp_path, patience=PATIENT), script)
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)
    assert 0.6 <= report.end.wall_s < 1.6
    assert members(report)["captures/done"] == b"done\n"
    assert report.end.survivors == ()


def test_the_titles_own_status_counts_where_it_can_be_seen(tmp_path: Path, quay: Path) -> None:
    report = _launched(
        bench(tmp_path, patience=PATIENT), './lantern-quay 0.5 "$1" 7 & sleep 0.3; exit 0'
    )
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 7)


def test_the_time_limit_ends_a_title_whose_launcher_has_left(tmp_path: Path, quay: Path) -> None:
    script = './lantern-quay 60 "$1" 0 & exit 0'
    report = _launched(bench(tmp_path, patience=PATIENT), script, time_limit_s=0.8)
    assert report.end.by is EndedBy.TIME_LIMIT
    assert report.end.survivors == ()


def test_a_title_that_never_comes_is_a_fault_of_its_own(tmp_path: Path) -> None:
    report = _launched(bench(tmp_path, patience=PATIENT), "exit 0")
    assert report.end.by is EndedBy.NEVER_ALIVE
    assert report.end.detail == "no process called lantern-quay was seen in 1 s after it"


def test_a_launcher_that_fails_is_not_waited_for(tmp_path: Path) -> None:
    began = time.monotonic()
    report = _launched(bench(tmp_path), "exit 3")
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 3)
    assert time.monotonic() - began < 3


# --- a recorder ---------------------------------------------------------------------------

RECORD = """
import signal, sys, time
lines = ["frame_no,frame_ms"]
def told(number, frame):
    open(sys.argv[1], "w").write("\\n".join(lines) + "\\n")
    sys.exit(int(sys.argv[2]))
signal.signal(signal.SIGTERM, told)
open(sys.argv[1] + ".ready", "w").close()
while True:
    lines.append(f"{len(lines)},16.6")
    time.sleep(0.02)
"""
WAIT = 'while [ ! -e "$1" ]; do sleep 0.02; done; sleep 0.3'


def _recorded(
    folder: Path, recorder: tuple[str, ...], *argv: str, limit_s: float = 2.0, **more: object
) -> PassReport:
    given = replace(
        title(*argv, **more),  # type: ignore[arg-type]
        recorder=Command(argv=recorder, time_limit_s=limit_s),
    )
    return bench(folder).carry_out(task(given), _never)


def _recording(status: int = 0) -> tuple[str, ...]:
    code = python(RECORD)
    return (*code, "{captures}/frames.csv", str(status))


def test_a_recorder_is_told_to_end_after_the_title_and_may_finish_its_file(tmp_path: Path) -> None:
    report = _recorded(tmp_path, _recording(), "sh", "-c", WAIT, "-", "{captures}/frames.csv.ready")
    assert (report.end.by, report.end.status, report.failed_step) == (EndedBy.EXIT, 0, None)
    assert report.recorder is not None
    assert (report.recorder.by, report.recorder.status) == (EndedBy.EXIT, 0)
    assert report.recorder.wall_s > report.end.wall_s
    assert members(report)["captures/frames.csv"].count(b"\n") > 5
    assert report.end.survivors == ()


def test_one_that_knows_nothing_of_signals_has_ended_well_when_told_to(tmp_path: Path) -> None:
    report = _recorded(tmp_path, ("sleep", "60"), "sleep", "0.2")
    assert report.recorder is not None
    assert (report.recorder.by, report.recorder.status) == (EndedBy.EXIT, 0)
    assert report.failed_step is None


def test_one_that_has_recorded_enough_may_end_before_the_title(tmp_path: Path) -> None:
    report = _recorded(tmp_path, ("true",), "sleep", "0.6")
    assert (report.failed_step, report.end.status) == (None, 0)
    assert 0.6 <= report.end.wall_s < 1.2


@pytest.mark.parametrize(
    ("recorder", "words"),
    [
        (("sh", "-c", "sleep 0.2; exit 3"), "exited with status 3"),
        (("sh", "-c", "sleep 0.2; kill -SEGV $$"), "was ended by signal SIGSEGV"),
    ],
)
def test_a_recorder_that_dies_ends_the_pass_at_once(
    tmp_path: Path, recorder: tuple[str, ...], words: str
) -> None:
    began = time.monotonic()
    report = _recorded(tmp_path, recorder, "sleep", "60", time_limit_s=90.0)
    assert time.monotonic() - began < 4
    assert report.failed_step == "recorder"
    verdict = judge(report, None, title=title("true"), marks=())
    assert (verdict.verdict, verdict.fault) == (Verdict.FAILED, "recorder-failed")
    assert words in verdict.reason
    assert report.end.survivors == ()


def test_a_recorder_that_does_not_end_is_ended_and_named(tmp_path: Path) -> None:
    recorder = ("{python}", str(FAKE), "ignores_term", "{captures}/x")
    report = _recorded(tmp_path, recorder, "sleep", "0.4", limit_s=0.3)
    assert report.failed_step == "recorder"
    assert (report.end.by, report.end.detail) == (EndedBy.TIME_LIMIT, "KILL to 1 process")
    assert report.end.survivors == ()


def test_a_recorder_that_is_not_there_keeps_the_title_from_starting(tmp_path: Path) -> None:
    report = _recorded(tmp_path, ("frame-log",), "touch", "titled")
    assert (report.failed_step, report.end.by) == ("recorder", EndedBy.NOT_FOUND)
    assert not (tmp_path / "titled").exists()


def test_a_recorder_that_wrote_nothing_is_named_with_the_missing_capture(tmp_path: Path) -> None:
    report = _recorded(tmp_path, ("sleep", "60"), "sleep", "0.2")
    measured = Measured(fault="no-capture", problem="frames.csv is not there")
    verdict = judge(report, measured, title=title("true"), marks=())
    assert verdict.fault == "no-capture"
    assert verdict.reason.startswith("frames.csv is not there; sleep exited with status 0 after ")


def test_a_title_that_fails_is_not_blamed_on_its_recorder(tmp_path: Path) -> None:
    report = _recorded(tmp_path, _recording(status=5), "sh", "-c", "sleep 0.4; exit 4")
    assert (report.failed_step, report.end.status) == (None, 4)


def test_a_limit_ends_the_title_and_its_recorder_at_once(tmp_path: Path) -> None:
    given = replace(fake("ignores_term"), recorder=Command(argv=("sleep", "60"), time_limit_s=30.0))
    watch = Watch(limit=HOT, at_sample=1)
    began = time.monotonic()
    report = bench(tmp_path).carry_out(task(given, watch=watch), _never)
    assert time.monotonic() - began < 4
    assert (report.end.by, report.limit, report.limit_step) == (EndedBy.LIMIT, HOT, "")
    assert report.end.survivors == ()


# --- silence ------------------------------------------------------------------------------


def test_a_title_without_a_word_is_ended_before_its_time_limit(tmp_path: Path) -> None:
    given = replace(fake("hang", time_limit_s=60.0), silent_after_s=0.4)
    report = bench(tmp_path).carry_out(task(given), _never)
    assert report.end.by is EndedBy.SILENT
    assert report.end.detail == "for 0.4 s; TERM to 1 process"
    assert 0.4 <= report.end.wall_s < 1.5


def test_a_title_that_goes_on_talking_is_not_silent(tmp_path: Path) -> None:
    script = "for i in 1 2 3 4 5 6; do echo $i; sleep 0.2; done"
    given = replace(title("sh", "-c", script), silent_after_s=0.6)
    report = bench(tmp_path).carry_out(task(given), _never)
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)


def test_a_capture_that_stops_growing_ends_the_pass_however_much_is_said(tmp_path: Path) -> None:
    script = 'echo 1 > "$1"; while true; do echo word; sleep 0.1; done'
    given = replace(
        title("sh", "-c", script, "-", "{captures}/f.csv", time_limit_s=60.0), still_after_s=0.5
    )
    report = bench(tmp_path).carry_out(task(given), _never)
    assert report.end.by is EndedBy.STILL
    assert report.end.wall_s < 2.0


# --- limits in a level's command, and while files settle ----------------------------------


def _level(watch: Watch, *, undo: bool, argv: tuple[str, ...] = ("sleep", "1.5")) -> LevelTask:
    return LevelTask(
        condition="power",
        level="quiet",
        command=Command(argv=argv, time_limit_s=5.0),
        expect=(),
        watch=watch,
        undo=undo,
    )


def test_a_limit_ends_the_command_of_a_level_at_once(tmp_path: Path) -> None:
    watch = Watch(limit=HOT, at_sample=0, limits=(COOL,))
    report = bench(tmp_path).set_level(_level(watch, undo=False))
    assert report.limit == HOT
    assert report.end is not None
    assert report.end.by is EndedBy.LIMIT
    assert report.end.wall_s < 1.0


def test_a_limit_does_not_end_what_puts_a_level_back_and_is_told(tmp_path: Path) -> None:
    watch = Watch(limit=HOT, at_sample=0, limits=(COOL,))
    report = bench(tmp_path).set_level(_level(watch, undo=True))
    assert report.limit == HOT
    assert report.end is not None
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)


def test_limits_are_watched_while_files_settle(tmp_path: Path) -> None:
    over = threading.Event()

    def write() -> None:
        """Write to the captures of the pass until told to stop: somebody else's program."""
        while not over.wait(0.004):
            for folder in tmp_path.glob("work/run-1/*/captures"):
                with (folder / "late.csv").open("a") as file:
                    file.write("1\n")

    writer = threading.Thread(target=write)
    # The title's own watch sees too few samples; only its copy is asked while files settle.
    watch = Watch(limit=HOT, at_sample=2, limits=(COOL,))
    rig = bench(tmp_path, patience=Patience(linger_s=0.1, settle_s=1.5), interval_s=0.2)
    writer.start()
    try:
        report = rig.carry_out(task(title("true"), watch=watch), _never)
    finally:
        over.set()
        writer.join()
    assert (report.end.status, report.limit, report.limit_step) == (0, HOT, "settling files")
    assert "still changing after 1.5 s: captures/late.csv" in report.end.detail
