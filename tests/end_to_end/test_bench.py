"""The real bench over whole passes: steps, limits, stops, levels, what is given back."""

from __future__ import annotations

import itertools
import json
import os
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from harness.plan.document import Bound, Command, Limit
from harness.rig.clock import MachineClock
from harness.rig.command import Patience
from harness.rig.crossings import LimitBreached
from harness.rig.readings import Reading
from harness.rig.sampler import as_line
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import FakeSource
from harness.rig.stop import StopFlag
from harness.rig.tasks import EndedBy, LevelTask
from tests.end_to_end.rigs import Watch, bench, fake, members, python, task, title

HOT = LimitBreached(
    reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=96.0, why=None, at_s=0.0
)


def _never() -> bool:
    return False


# --- steps --------------------------------------------------------------------------------


def test_steps_are_carried_out_in_order_and_their_output_is_kept(tmp_path: Path) -> None:
    say = ("sh", "-c", "echo $1 >> order; echo $1", "-")
    report = bench(tmp_path).carry_out(
        task(title(*say, "title", prepare=[(*say, "one"), (*say, "two")], tidy=[(*say, "three")])),
        _never,
    )
    assert (tmp_path / "order").read_text().split() == ["one", "two", "title", "three"]
    kept = members(report)
    assert kept["output/prepare-2.stdout"] == b"two\n"
    assert kept["output/stdout"] == b"title\n"
    assert "output/prepare-1.stderr" not in kept, "a step that said nothing leaves no file"


def test_a_failed_prepare_step_keeps_the_title_from_starting_but_not_from_tidying(
    tmp_path: Path,
) -> None:
    report = bench(tmp_path).carry_out(
        task(title("touch", "titled", prepare=[("false",)], tidy=[("touch", "tidied")])), _never
    )
    assert (report.failed_step, report.end.argv, report.end.status) == ("prepare 1", ("false",), 1)
    assert (tmp_path / "tidied").exists()
    assert not (tmp_path / "titled").exists()


def test_a_failed_tidy_step_is_the_end_of_a_pass_that_went_well(tmp_path: Path) -> None:
    report = bench(tmp_path).carry_out(task(title("true", tidy=[("true",), ("false",)])), _never)
    assert (report.failed_step, report.end.argv) == ("tidy 2", ("false",))


def test_a_failed_tidy_step_does_not_hide_that_the_title_failed(tmp_path: Path) -> None:
    report = bench(tmp_path).carry_out(task(title("sh", "-c", "exit 4", tidy=[("false",)])), _never)
    assert (report.failed_step, report.end.status) == (None, 4)


def test_files_the_title_leaves_elsewhere_are_collected(tmp_path: Path) -> None:
    code = "mkdir -p results; echo 1 > results/frames.csv"
    report = bench(tmp_path).carry_out(
        task(title("sh", "-c", code, collect=["results/*.csv"])), _never
    )
    assert members(report)["captures/frames.csv"] == b"1\n"


def test_the_folder_of_an_attempt_is_removed_when_the_next_pass_starts(tmp_path: Path) -> None:
    rig = bench(tmp_path)
    first = rig.carry_out(task(fake("ok"), attempt=1), _never)
    assert first.folder is not None
    assert first.folder_made_ns is not None
    written = [each.path.stat().st_mtime_ns for each in first.members]
    assert all(time_ns >= first.folder_made_ns for time_ns in written)
    second = rig.carry_out(task(fake("ok"), attempt=2), _never)
    assert not first.folder.exists()
    assert second.folder is not None
    assert second.folder.is_dir()


# --- samples, limits and stops ------------------------------------------------------------


def test_samples_lie_on_the_seconds_and_are_written_down(tmp_path: Path) -> None:
    watch = Watch()
    report = bench(tmp_path).carry_out(task(title("sleep", "2.2"), watch=watch), _never)
    into = [into_s for _, into_s in watch.fed]
    assert [round(each) for each in into[:3]] == [0, 1, 2]
    assert all(abs(each - round(each)) < 0.05 for each in into[:3])
    lines = members(report)["readings.jsonl"].splitlines(keepends=True)
    assert lines == [as_line(sample, into_s=into_s) for sample, into_s in watch.fed]
    assert json.loads(lines[1])["readings"]["memory.available"]["unit"] == "GiB"
    assert tuple(sample for sample, _ in watch.fed) == report.samples


def test_a_limit_that_is_passed_ends_the_command_at_once(tmp_path: Path) -> None:
    watch = Watch(limit=HOT, at_sample=1)
    began = time.monotonic()
    report = bench(tmp_path).carry_out(task(fake("ignores_term"), watch=watch), _never)
    assert report.end.by is EndedBy.LIMIT
    assert report.limit == HOT
    assert report.end.detail == "KILL to 1 process", "no grace for what is too hot"
    assert 1.0 <= report.end.wall_s < 1.3
    assert time.monotonic() - began < 3


def test_a_limit_is_heeded_while_a_helper_goes_on_after_the_title(tmp_path: Path) -> None:
    watch = Watch(limit=HOT, at_sample=1)
    rig = bench(tmp_path, patience=Patience(linger_s=10.0, settle_s=1.0))
    report = rig.carry_out(task(fake("grandchild_keeps_pipe"), watch=watch), _never)
    assert report.limit == HOT
    assert report.end.survivors == ()


def test_a_watch_that_fails_ends_the_command_and_is_not_hidden(tmp_path: Path) -> None:
    class Broken(Watch):
        def feed(self, sample: object, *, into_s: float) -> None:
            raise ZeroDivisionError

    rig = bench(tmp_path)
    began = time.monotonic()
    with pytest.raises(ZeroDivisionError):
        rig.carry_out(task(fake("hang", time_limit_s=30.0), watch=Broken()), _never)
    assert time.monotonic() - began < 3
    assert rig.carry_out(task(title("true"), attempt=2), _never).end.survivors == ()


def test_sensors_that_no_longer_answer_count_as_a_limit_that_was_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.rig.sampler.SILENT_S", 0.3)
    answer = threading.Event()

    class Stuck(FakeSource):
        def read(self, at_s: float) -> dict[str, Reading]:
            if self.looks:
                answer.wait(20)
            return dict(super().read(at_s))

    clock = MachineClock()
    stuck = Stuck(name="cpu.temperature", script=(50.0,))
    limit = Limit(bound=Bound(reading="cpu.temperature", unit="°C", at_most=90.0))
    rig = bench(tmp_path, sensors=Sensors((stuck,), now_s=clock.steady_s), interval_s=0.1)
    stuck.looks.append(0.0)
    rig._primed = True
    report = rig.carry_out(task(fake("hang"), watch=Watch(limits=(limit,))), _never)
    answer.set()
    assert report.end.by is EndedBy.LIMIT
    assert report.limit is not None
    assert report.limit.value is None
    assert report.limit.why is not None
    assert report.limit.why.startswith("lost: the sensors have not answered")


def test_a_stop_ends_the_tree_within_a_fifth_of_a_second(tmp_path: Path) -> None:
    flag = StopFlag()
    asked: list[float] = []

    def ask() -> None:
        asked.append(time.monotonic())
        flag.raise_for("told to")

    timer = threading.Timer(0.5, ask)
    timer.start()
    rig = bench(tmp_path, flag=flag)
    report = rig.carry_out(task(fake("grandchild_new_session")), flag)
    ended = time.monotonic()
    timer.join()
    assert report.end.by is EndedBy.STOPPED
    assert report.end.survivors == ()
    assert ended - asked[0] < 0.2


def test_a_stop_that_cannot_wake_the_bench_is_still_asked_often(tmp_path: Path) -> None:
    began = time.monotonic()
    rig = bench(tmp_path)
    report = rig.carry_out(task(fake("hang")), lambda: time.monotonic() - began > 1.0)
    assert report.end.by is EndedBy.STOPPED
    assert time.monotonic() - began < 1.4


def test_a_second_stop_leaves_no_time_for_grace(tmp_path: Path) -> None:
    flag = StopFlag()
    timers = [threading.Timer(after, flag.raise_for, ("told to",)) for after in (0.4, 0.6)]
    for timer in timers:
        timer.start()
    rig = bench(tmp_path, flag=flag, patience=Patience(grace_s=30.0))
    began = time.monotonic()
    report = rig.carry_out(task(fake("ignores_term")), flag)
    assert report.end.by is EndedBy.STOPPED
    assert time.monotonic() - began < 2.0
    for timer in timers:
        timer.join()


def test_tidying_is_done_after_a_stop(tmp_path: Path) -> None:
    flag = StopFlag()
    threading.Timer(0.4, flag.raise_for, ("told to",)).start()
    rig = bench(tmp_path, flag=flag)
    report = rig.carry_out(task(title("sleep", "30", tidy=[("touch", "tidied")])), flag)
    assert report.end.by is EndedBy.STOPPED
    assert (tmp_path / "tidied").exists()


# --- what the harness costs ---------------------------------------------------------------


def test_the_load_of_a_title_is_not_put_on_others(tmp_path: Path) -> None:
    """Two busy processes, one started by the other; the kernel's own account is the check."""
    spin = "import time\nend = time.monotonic() + 3.2\nwhile time.monotonic() < end: pass"
    code = f"import subprocess, sys\nsubprocess.Popen([sys.executable, '-c', {spin!r}])\n{spin}"
    before = os.times()
    report = bench(tmp_path, patience=Patience(linger_s=5.0)).carry_out(
        task(title(*python(code))), _never
    )
    after = os.times()
    counted_s = (after.children_user + after.children_system) - (
        before.children_user + before.children_system
    )
    own_s, cores = 0.0, os.cpu_count() or 1
    for earlier, later in itertools.pairwise(report.samples):
        load, others = later.readings["cpu.load"].value, later.readings["cpu.load.others"].value
        assert isinstance(load, float)
        assert isinstance(others, float)
        own_s += (load - others) / 100 * cores * (later.at_s - earlier.at_s)
    assert own_s == pytest.approx(counted_s, rel=0.2)


def test_the_processor_time_of_the_runner_is_told_with_the_pass(tmp_path: Path) -> None:
    report = bench(tmp_path).carry_out(task(title("sleep", "1.2")), _never)
    assert 0 < report.harness_cpu_s < 0.5
    assert report.slept_s == 0.0


def test_the_instants_of_the_looks_are_told_with_the_pass(tmp_path: Path) -> None:
    before_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    sampling = bench(tmp_path).carry_out(task(title("sleep", "2.3")), _never).sampling
    assert sampling is not None
    assert before_s < sampling.started_s
    assert sampling.interval_s == 1.0
    ticks = [round(start - sampling.started_s) for start, _ in sampling.looks]
    assert ticks == [0, 1, 2]
    assert all(start < end for start, end in sampling.looks)
    # The clock of the day, laid on the steady one, gives the same instant.
    of_day_s = time.time() + sampling.behind_s[2]
    assert of_day_s == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=0.05)


# --- plain commands and levels ------------------------------------------------------------


def test_a_level_is_brought_about_and_what_it_changes_is_read(tmp_path: Path) -> None:
    report = bench(tmp_path).set_level(
        LevelTask(
            condition="power",
            level="quiet",
            command=Command(argv=("touch", "set"), time_limit_s=5.0),
            expect=(
                Bound(reading="memory.available", unit="GiB", at_least=0.1),
                Bound(reading="gpu.power.limit", unit="W", equals=220.0),
            ),
        )
    )
    assert report.end is not None
    assert report.end.status == 0
    assert (tmp_path / "set").exists()
    assert [reading.name for reading in report.readings] == ["memory.available", "gpu.power.limit"]
    assert [reading.measured for reading in report.readings] == [True, False]


def test_a_level_can_be_verified_without_a_command(tmp_path: Path) -> None:
    task_ = LevelTask(condition="slot", level="alone", command=None, expect=())
    report = bench(tmp_path).set_level(task_)
    assert (report.end, report.readings) == (None, ())


def test_a_plain_command_that_fails_says_what_it_said_last(tmp_path: Path) -> None:
    command = Command(argv=("sh", "-c", "echo 'no such limit: 220' >&2; exit 2"), time_limit_s=5.0)
    end = bench(tmp_path).run(command)
    assert (end.by, end.status, end.detail) == (EndedBy.EXIT, 2, "it said: no such limit: 220")
    assert list((tmp_path / "work").iterdir()) == []


def test_a_build_is_asked_of_its_command(tmp_path: Path) -> None:
    asked = replace(
        title("true"), build_command=Command(argv=("echo", "Copper Fen 2.1"), time_limit_s=5.0)
    )
    fields = bench(tmp_path).fingerprint(asked, full=False)
    assert fields["title.build Copper Fen"] == "Copper Fen 2.1"
