"""Limits hold in the steps beside the title too: prepare and tidy, with real processes."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from harness.plan.document import Bound, Guard, Limit
from harness.rig.bench import RealBench
from harness.rig.clock import MachineClock
from harness.rig.readings import Reading
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import FakeSource
from harness.rig.tasks import EndedBy
from harness.rules.guards import GuardWatch
from harness.rules.judge import judge
from harness.rules.judgement import Verdict
from tests.end_to_end.rigs import FAKE, Watch, bench, members, task, title

COOL = Limit(bound=Bound(reading="gpu.temperature", unit="°C", at_most=92.0))


def _never() -> bool:
    return False


def scripted(source: FakeSource, folder: Path, *, interval_s: float = 0.1) -> RealBench:
    """Return a bench whose one reading plays a script, from its first look in a pass on."""
    sensors = Sensors((source,), now_s=MachineClock().steady_s)
    rig = bench(folder, sensors=sensors, interval_s=interval_s)
    rig._primed = True
    return rig


def temperatures(*script: float | Exception) -> FakeSource:
    return FakeSource(name="gpu.temperature", script=script)


def test_a_limit_passed_in_prepare_ends_it_at_once_and_the_title_is_not_started(
    tmp_path: Path,
) -> None:
    hot = title(
        "touch",
        "titled",
        prepare=[("{python}", str(FAKE), "ignores_term", "{captures}/x")],
        tidy=[("sh", "-c", "sleep 0.3; touch tidied")],
    )
    began = time.monotonic()
    report = scripted(temperatures(60.0, 60.0, 60.0, 96.0), tmp_path).carry_out(
        task(hot, watch=GuardWatch((), (COOL,))), _never
    )
    assert time.monotonic() - began < 2.5
    assert report.limit is not None
    assert (report.limit.reading, report.limit.value) == ("gpu.temperature", 96.0)
    assert (report.failed_step, report.end.by) == ("prepare 1", EndedBy.LIMIT)
    assert report.end.detail == "KILL to 1 process", "no grace for what is too hot"
    assert report.end.survivors == ()
    assert not (tmp_path / "titled").exists()
    assert (tmp_path / "tidied").exists(), "what tidy puts back is what lets the rig cool"
    verdict = judge(report, None, title=hot, marks=())
    assert (verdict.verdict, verdict.fault) == (Verdict.VOID, "limit")


def test_a_limit_passed_in_tidy_ends_that_step_and_voids_the_pass(tmp_path: Path) -> None:
    hot = title("true", tidy=[("sleep", "4"), ("touch", "tidied")])
    began = time.monotonic()
    report = scripted(temperatures(60.0, 60.0, 60.0, 96.0), tmp_path).carry_out(
        task(hot, watch=GuardWatch((), (COOL,))), _never
    )
    assert time.monotonic() - began < 2.5
    assert report.limit is not None
    assert (report.failed_step, report.end.by) == ("tidy 1", EndedBy.LIMIT)
    assert (tmp_path / "tidied").exists()
    assert judge(report, None, title=hot, marks=()).fault == "limit"


def test_what_is_seen_in_the_steps_counts_for_no_guard_and_is_no_sample_of_the_pass(
    tmp_path: Path,
) -> None:
    guard = Guard(bound=Bound(reading="gpu.temperature", unit="°C", at_most=80.0))
    true = ("true",)
    source = temperatures(90.0, 50.0, 90.0)
    rig = scripted(source, tmp_path, interval_s=20.0)  # one look at the start of each command
    report = rig.carry_out(
        task(title(*true, prepare=[true], tidy=[true]), watch=GuardWatch((guard,), (COOL,))),
        _never,
    )
    assert len(source.looks) == 3
    assert [each.readings["gpu.temperature"].value for each in report.samples] == [50.0]
    assert (report.guards, report.limit, report.failed_step) == ((), None, None)
    assert len(members(report)["readings.jsonl"].splitlines()) == 1


def test_a_limit_passed_at_the_very_end_of_prepare_keeps_the_title_from_starting(
    tmp_path: Path,
) -> None:
    rig = scripted(temperatures(60.0, 96.0), tmp_path, interval_s=1.0)
    hot = title("touch", "titled", prepare=[("sleep", "0.3")])
    report = rig.carry_out(task(hot, watch=GuardWatch((), (COOL,))), _never)
    assert report.limit is not None
    assert (report.failed_step, report.end.status) == ("prepare 1", 0)
    assert not (tmp_path / "titled").exists()


def test_a_limit_whose_reading_is_lost_in_prepare_counts_as_passed(tmp_path: Path) -> None:
    rig = scripted(temperatures(60.0, 60.0, OSError(5, "no answer")), tmp_path)
    hot = title("touch", "titled", prepare=[("sleep", "4")])
    report = rig.carry_out(task(hot, watch=GuardWatch((), (COOL,))), _never)
    assert report.limit is not None
    assert report.limit.why == "lost (cannot be read: no answer)"
    assert not (tmp_path / "titled").exists()


def test_without_limits_the_steps_are_not_watched(tmp_path: Path) -> None:
    source, step = temperatures(60.0), ("sleep", "0.2")
    rig = scripted(source, tmp_path)
    report = rig.carry_out(task(title("true", prepare=[step], tidy=[step])), _never)
    assert len(source.looks) == len(report.samples) > 0


def test_a_sensor_stuck_at_the_end_of_a_step_keeps_the_title_from_starting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.rig.sampler.SILENT_S", 0.3)
    answer = threading.Event()

    class Stuck(FakeSource):
        def read(self, at_s: float) -> dict[str, Reading]:
            answer.wait(20)
            return dict(super().read(at_s))

    stuck = Stuck(name="gpu.temperature", script=(50.0,))
    rig = scripted(stuck, tmp_path)
    hot = title("touch", "titled", prepare=[("true",)])
    report = rig.carry_out(task(hot, watch=GuardWatch((), (COOL,))), _never)
    answer.set()
    assert report.limit is not None
    assert report.limit.why is not None
    assert report.limit.why.startswith("lost: the sensors have not answered")
    assert not (tmp_path / "titled").exists()


def test_passes_that_never_start_leave_no_descriptor_open(tmp_path: Path) -> None:
    rig = bench(tmp_path)
    refused = title("no-such-title", tidy=[("no-such-step",)])
    failed = title("true", prepare=[("false",)])

    def opened_after(attempt: int) -> int:
        for hot in (refused, failed):
            watch = Watch(limits=(COOL,))
            rig.carry_out(task(hot, attempt=attempt, watch=watch), _never)
        return len(list(Path("/proc/self/fd").iterdir()))

    first = opened_after(1)
    assert opened_after(2) == first
