"""Every way a command can misbehave, with real processes: it ends as what it is."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from harness.rig import process
from harness.rig.command import Patience
from harness.rig.tasks import EndedBy, PassReport
from harness.rig.tree import having_in_environment
from tests.end_to_end.rigs import bench, fake, members, python, task, title

FRAMES = "captures/frames.csv"


@pytest.fixture(autouse=True)
def _nobody_is_left(tmp_path: Path) -> object:
    """Whatever a test starts is gone when the test is over."""
    yield
    left = having_in_environment("HARNESS_RUN_TOKEN", lambda text: ":run-1:" in text)
    mine = [each for each in left if os.path.realpath(f"/proc/{each.id.pid}/cwd") == str(tmp_path)]
    assert mine == []


def _carry_out(folder: Path, mode: str, *, time_limit_s: float = 5.0) -> PassReport:
    return bench(folder).carry_out(task(fake(mode, time_limit_s=time_limit_s)), lambda: False)


def test_ok_ends_with_its_capture_complete(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "ok")
    assert (report.end.by, report.end.status, report.end.detail) == (EndedBy.EXIT, 0, "")
    assert members(report)[FRAMES].count(b"\n") == 61
    assert report.failed_step is None


def test_a_slow_writer_is_read_only_when_it_has_ended(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "slow_writer")
    assert report.end.status == 0
    assert report.end.wall_s > 2.9
    assert members(report)[FRAMES].count(b"\n") == 61


def test_a_helper_that_finishes_the_file_later_is_waited_for(tmp_path: Path) -> None:
    rig = bench(tmp_path, patience=Patience(linger_s=5.0, settle_s=1.0))
    report = rig.carry_out(task(fake("writes_after_exit")), lambda: False)
    assert (report.end.status, report.end.detail) == (0, "")
    assert report.end.wall_s < 0.9, "the helper's time is not the command's"
    assert members(report)[FRAMES].count(b"\n") == 61


def test_no_file_is_no_member(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "exit0_no_file")
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)
    assert set(members(report)) == {"output/stdout", "output/stderr", "readings.jsonl"}


def test_an_empty_file_is_a_member_as_it_is(tmp_path: Path) -> None:
    assert members(_carry_out(tmp_path, "exit0_empty_file"))[FRAMES] == b""


def test_an_exit_status_is_kept_with_whatever_was_written(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "exit1_with_file")
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 1)
    assert FRAMES in members(report)


def test_a_file_cut_short_is_kept_byte_for_byte(tmp_path: Path) -> None:
    capture = members(_carry_out(tmp_path, "cut_file"))[FRAMES]
    assert len(capture) == 549 - 9  # sixty rows and the header, less the nine bytes cut off


def test_an_older_file_is_never_in_a_fresh_folder(tmp_path: Path) -> None:
    rig = bench(tmp_path)
    rig.carry_out(task(fake("ok"), attempt=1), lambda: False)
    report = rig.carry_out(task(fake("stale_file"), attempt=2), lambda: False)
    assert report.end.status == 0
    assert FRAMES not in members(report)


def test_a_flood_of_output_stops_nothing_and_is_kept(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "flood")
    assert report.end.status == 0
    assert members(report)["output/stderr"] == (b"x" * 200 + b"\n") * 4000
    assert report.end.dropped_output_bytes == 0


def test_output_over_the_ceiling_is_dropped_and_counted(tmp_path: Path) -> None:
    code = "import sys\nfor n in range(200_000): print(f'{n:07d}', 'x' * 120)\nprint('score = 41')"
    report = bench(tmp_path).carry_out(task(title(*python(code))), lambda: False)
    kept = members(report)["output/stdout"]
    said = 200_000 * 129 + 11
    note = b"(harness: %d bytes of output dropped here)\n" % report.end.dropped_output_bytes
    assert len(kept) - len(note) + report.end.dropped_output_bytes == said
    assert kept.endswith(b"score = 41\n")


def test_bytes_that_are_no_text_are_kept_raw(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "bad_bytes")
    assert members(report)["output/stdout"] == b"title: Caf\xe9 \x8d \xff done\n"


def test_terminal_codes_and_no_last_line_break_are_kept_raw(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "ansi_no_newline")
    assert members(report)["output/stdout"] == b"\x1b[2K\rprogress 100%"


def test_a_command_that_hangs_is_ended_by_its_time_limit(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "hang", time_limit_s=0.3)
    assert report.end.by is EndedBy.TIME_LIMIT
    assert report.end.detail == "TERM to 1 process"
    assert 0.3 <= report.end.wall_s < 0.6
    assert report.end.survivors == ()


def test_a_command_that_ignores_term_is_killed_after_its_grace(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "ignores_term", time_limit_s=0.3)
    assert report.end.by is EndedBy.TIME_LIMIT
    assert report.end.detail == "TERM to 1 process, KILL to 1 process after 0.3 s"
    assert report.end.survivors == ()


def test_a_grandchild_that_keeps_the_output_open_holds_nothing_up(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "grandchild_keeps_pipe")
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)
    assert report.end.wall_s < 0.5
    assert "left behind and ended" in report.end.detail
    assert "time.sleep(20)" in report.end.detail
    assert report.end.survivors == ()


def test_a_grandchild_with_a_session_of_its_own_is_ended_too(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "grandchild_new_session", time_limit_s=0.5)
    assert report.end.by is EndedBy.TIME_LIMIT
    assert report.end.detail == "TERM to 2 processes"
    assert report.end.survivors == ()


def test_a_crash_is_named_by_its_signal(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "crash")
    assert (report.end.by, report.end.signal) == (EndedBy.SIGNAL, "SIGSEGV")
    assert report.end.status is None


def test_a_command_that_waits_for_a_key_gets_no_input_at_once(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "waits_for_input")
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 1)
    assert b"EOFError" in members(report)["output/stderr"]


def test_a_memory_hog_within_its_time_is_an_ordinary_pass(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "memory_hog")
    assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)
    assert len(report.samples) >= 2


def test_a_large_capture_is_a_member_of_its_full_size(tmp_path: Path) -> None:
    report = _carry_out(tmp_path, "fills_disk")
    (capture,) = [each for each in report.members if each.name == FRAMES]
    assert capture.path.stat().st_size == 64 * 1024 * 1024


def test_a_command_that_fails_the_first_time_fails_each_time_in_a_fresh_folder(
    tmp_path: Path,
) -> None:
    rig = bench(tmp_path)
    for attempt in (1, 2):
        report = rig.carry_out(task(fake("sometimes"), attempt=attempt), lambda: False)
        assert report.end.status == 3


@pytest.mark.parametrize(
    ("argv", "by", "words"),
    [
        (("lantern-quay",), EndedBy.NOT_FOUND, "No such file or directory: lantern-quay"),
        (("./none/quay",), EndedBy.NOT_FOUND, "looked in "),
        (("./plain",), EndedBy.NOT_EXECUTABLE, "Permission denied: ./plain"),
        (("./text",), EndedBy.NOT_EXECUTABLE, "Exec format error: ./text"),
        (("./lost",), EndedBy.NOT_FOUND, "No such file or directory: ./lost"),
        ((".",), EndedBy.NOT_EXECUTABLE, "Permission denied: ."),
        (("x" * 300,), EndedBy.NOT_STARTED, "File name too long"),
        (("quay\0",), EndedBy.NOT_STARTED, "Invalid argument"),
    ],
)
def test_what_cannot_be_started_says_why(
    tmp_path: Path, argv: tuple[str, ...], by: EndedBy, words: str
) -> None:
    for name, text, mode in (
        ("plain", "#!/bin/sh\n", 0o644),
        ("text", "not a program\n", 0o755),
        ("lost", "#!/no/such/shell\n", 0o755),
    ):
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(mode)
    report = bench(tmp_path).carry_out(task(title(*argv)), lambda: False)
    assert report.end.by is by
    assert words in report.end.detail
    assert (report.end.wall_s, report.end.survivors, report.samples) == (0.0, (), ())


def test_a_command_gets_no_shell_no_terminal_and_its_own_session(tmp_path: Path) -> None:
    code = (
        "import os\n"
        "print(os.getsid(0) == os.getpid(), os.read(0, 1), os.getcwd())\n"
        "print(sorted(os.sched_getaffinity(0)), os.getpriority(os.PRIO_PROCESS, 0))\n"
    )
    report = bench(tmp_path).carry_out(
        task(title(*python(code, "$HOME", "; exit 3", "{size}"))), lambda: False
    )
    session, cores = members(report)["output/stdout"].decode().splitlines()
    assert session == f"True b'' {tmp_path}"
    assert cores == (f"{sorted(os.sched_getaffinity(0))} {os.getpriority(os.PRIO_PROCESS, 0)}")
    assert report.end.argv[3:] == ("$HOME", "; exit 3", "1920x1080")


def test_signals_that_the_interpreter_ignores_are_not_ignored_by_a_command(
    tmp_path: Path,
) -> None:
    # SigIgn of proc_pid_status(5): a mask of the ignored signals.
    report = bench(tmp_path).carry_out(
        task(title("grep", "SigIgn", "/proc/self/status")), lambda: False
    )
    ignored = int(members(report)["output/stdout"].split()[1], 16)
    assert not ignored & (1 << signal.SIGPIPE - 1 | 1 << signal.SIGXFSZ - 1)


def test_only_the_rig_lock_is_handed_to_a_command(tmp_path: Path) -> None:
    # No pipeline: its pipe would be seen among what the shell was given.
    code = "for each in /proc/$$/fd/*; do readlink $each; done"
    report = bench(tmp_path).carry_out(task(title("sh", "-c", code)), lambda: False)
    targets = members(report)["output/stdout"].decode().split()
    others = [each for each in targets if "/work/" not in each and each != "/dev/null"]
    assert [each for each in others if each.startswith("/")] == [str(tmp_path / "rig" / "rig.lock")]
    # What whoever started the tests lets every process inherit is none of the harness's doing.
    given = {
        str(each.readlink())
        for each in Path("/proc/self/fd").iterdir()
        if each.is_symlink() and os.get_inheritable(int(each.name))
    }
    assert [each for each in others if "pipe:" in each and each not in given] == []


def test_the_command_knows_which_run_and_attempt_it_belongs_to(tmp_path: Path) -> None:
    report = bench(tmp_path).carry_out(
        task(title(*python("import os; print(os.environ['HARNESS_RUN_TOKEN'])")), attempt=7),
        lambda: False,
    )
    said = members(report)["output/stdout"].decode()
    assert ":run-1:" in said
    assert said.rstrip().endswith("-007")


def test_wall_time_is_the_commands_own_and_not_the_launchers(tmp_path: Path) -> None:
    report = bench(tmp_path).carry_out(task(title("sleep", "0.2")), lambda: False)
    assert 0.2 <= report.end.wall_s < 0.25


def test_a_command_gets_the_cores_back_that_the_runner_gave_up(tmp_path: Path) -> None:
    cores = os.sched_getaffinity(0)
    rig = bench(tmp_path)
    try:
        os.sched_setaffinity(0, {max(cores)})
        report = rig.carry_out(
            task(title(*python("import os; print(sorted(os.sched_getaffinity(0)))"))), lambda: False
        )
    finally:
        os.sched_setaffinity(0, cores)
    assert members(report)["output/stdout"].decode().strip() == str(sorted(cores))


def test_a_command_is_sent_off_the_runners_core_before_it_may_use_it_too() -> None:
    # The kernel leaves a busy thread where it began (sched(7): only its balancing moves it).
    launcher = Path(process.__file__).with_name("launcher.py")
    code = (
        "import os, runpy, sys\n"
        "os.sched_getaffinity = lambda pid: {3}\n"
        "os.sched_setaffinity = lambda pid, cores: print(sorted(cores))\n"
        "os.execvp = lambda name, arguments: sys.exit(f'became {name}')\n"
        "sys.argv = ['launcher', '1', str(os.getppid()), '0,1,2,3', '0', '', '/', 'quay']\n"
        f"runpy.run_path({str(launcher)!r}, run_name='__main__')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=False
    )
    assert done.stderr == "became quay\n"
    set_to = [line for line in done.stdout.splitlines() if line.startswith("[")]
    assert set_to == ["[0, 1, 2]", "[0, 1, 2, 3]"]
