"""What every bench must do. A bench subclasses ``BenchContract`` and gives a ``workbench``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from harness.plan.document import Bound, Command, Gate, Limit, Then, Title
from harness.rig.crossings import DeviceLost, GateGaveUp, GatesOpened, LimitBreached, Woken
from harness.rig.tasks import EndedBy, Hold, LevelTask, PassReport, Release
from harness.rules.gates import GateWatch
from harness.rules.guards import GuardWatch
from harness.run.ports import Bench
from tests.end_to_end.rigs import task


@dataclass(frozen=True)
class Titles:
    """Titles as this bench must be given them."""

    well: Title  #: exits 0
    endless: Title  #: never ends by itself; its time limit is short
    missing: Title  #: its command is not there


class Workbench(Protocol):
    """A bench, and what to give it."""

    bench: Bench
    titles: Titles
    quick: Command  #: a plain command that exits 0

    def lose_card(self, what: str) -> None:
        """Let the card answer no more, with *what* is said of that; its readings are lost too."""

    def lose_reading(self, name: str, why: str) -> None:
        """Let one reading be lost."""


def _never() -> bool:
    return False


def _at_once() -> bool:
    return True


def _gate(**bound: float) -> Gate:
    return Gate(
        bound=Bound(reading="memory.available", unit="GiB", **bound),  # type: ignore[arg-type]
        for_s=0.0,
        give_up_s=0.0,
        then=Then.HOLD,
    )


class BenchContract:
    def carry_out(self, workbench: Workbench, title: Title) -> PassReport:
        return workbench.bench.carry_out(
            task(title, watch=GuardWatch((), ())),
            _never,
        )

    # --- leftovers and holds --------------------------------------------------------------

    def test_a_quiet_rig_has_nothing_left_over(self, workbench: Workbench) -> None:
        left = workbench.bench.recover("run-1")
        assert (left.ended, left.survivors) == ((), ())

    def test_a_hold_stands_once_and_until_it_is_released(self, workbench: Workbench) -> None:
        bench = workbench.bench
        hold = Hold(id="h1", run="run-1", reason="too hot", do="let it cool", at="2026-03-02")
        bench.hold(hold)
        bench.hold(hold)
        assert bench.holds() == (hold,)
        release = Release(hold="h1", by="Ines", note="fan freed", at="2026-03-03")
        bench.release(release)
        bench.release(release)
        assert bench.holds() == ()
        assert bench.releases() == (release,)

    # --- readings -------------------------------------------------------------------------

    def test_each_name_gets_one_reading_in_the_order_asked_for(self, workbench: Workbench) -> None:
        names = ("gpu.link.errors", "memory.available", "cpu.load", "memory.available")
        readings = workbench.bench.read(names)
        assert tuple(reading.name for reading in readings) == names

    def test_a_reading_has_a_value_or_a_reason_and_never_both(self, workbench: Workbench) -> None:
        for reading in workbench.bench.read(("memory.available", "gpu.link.errors", "no.such")):
            assert (reading.value is None) != (reading.why is None)

    def test_a_reading_the_rig_does_not_have_is_not_measured(self, workbench: Workbench) -> None:
        (reading,) = workbench.bench.read(("gpu.link.errors",))
        assert reading.value is None

    def test_the_fingerprint_is_text_with_the_build_of_a_title_only_when_asked(
        self, workbench: Workbench
    ) -> None:
        bench, title = workbench.bench, workbench.titles.well
        cheap, full = bench.fingerprint(title, full=False), bench.fingerprint(title, full=True)
        assert cheap.items() <= full.items()
        assert all(text for text in full.values())
        assert f"title.build {title.title}" in cheap
        alone = bench.fingerprint(None, full=True)
        assert not any(name.startswith("title.build") for name in alone)

    # --- waits ----------------------------------------------------------------------------

    def test_a_gate_that_holds_opens_at_the_first_sample(self, workbench: Workbench) -> None:
        end = workbench.bench.wait(GateWatch((_gate(at_least=0.01),), ()), _never)
        assert isinstance(end, GatesOpened)
        assert end.waited_s < 0.2

    def test_a_gate_that_never_holds_gives_up_with_its_last_value(
        self, workbench: Workbench
    ) -> None:
        end = workbench.bench.wait(GateWatch((_gate(at_least=60_000.0),), ()), _never)
        assert isinstance(end, GateGaveUp)
        assert (end.gate, end.reading, end.unit) == (0, "memory.available", "GiB")
        assert end.value is not None

    def test_a_wait_is_broken_off_when_somebody_asks(self, workbench: Workbench) -> None:
        gate = Gate(
            bound=Bound(reading="memory.available", unit="GiB", at_least=60_000.0),
            for_s=0.0,
            give_up_s=600.0,
            then=Then.HOLD,
        )
        end = workbench.bench.wait(GateWatch((gate,), ()), _at_once)
        assert isinstance(end, Woken)

    def test_a_reading_that_is_lost_is_no_answer_of_the_part(self, workbench: Workbench) -> None:
        hot = Gate(
            bound=Bound(reading="gpu.temperature", unit="°C", at_most=20.0),
            for_s=0.0,
            give_up_s=0.0,
            then=Then.MARK,
        )
        end = workbench.bench.wait(GateWatch((hot,), ()), _never)
        assert isinstance(end, GateGaveUp)
        assert (end.value, end.lost) == (40.0, False)
        workbench.lose_reading("gpu.temperature", "no answer")
        end = workbench.bench.wait(GateWatch((hot,), ()), _never)
        assert isinstance(end, GateGaveUp)
        assert (end.value, end.lost) == (None, True)
        assert end.why is not None
        assert "no answer" in end.why

    def test_a_device_that_is_lost_ends_a_wait_whatever_is_waited_for(
        self, workbench: Workbench
    ) -> None:
        workbench.lose_card("Heron 700: the card is lost")
        for gate in (_gate(at_least=0.01), _gate(at_least=60_000.0)):
            end = workbench.bench.wait(GateWatch((gate,), ()), _never)
            assert isinstance(end, DeviceLost)
            assert end.what == "Heron 700: the card is lost"
            assert end.waited_s < 0.5

    def test_a_limit_that_is_passed_says_more_than_a_lost_device(
        self, workbench: Workbench
    ) -> None:
        workbench.lose_card("Heron 700: the card is lost")
        limit = Limit(bound=Bound(reading="gpu.temperature", unit="°C", at_most=90.0))
        end = workbench.bench.wait(GateWatch((_gate(at_least=0.01),), (limit,)), _never)
        assert isinstance(end, LimitBreached)
        assert (end.reading, end.value) == ("gpu.temperature", None)

    def test_a_pass_with_a_lost_device_says_so(self, workbench: Workbench) -> None:
        workbench.lose_card("Heron 700: the card is lost")
        report = self.carry_out(workbench, workbench.titles.well)
        assert report.device_lost == "Heron 700: the card is lost"

    # --- doing ----------------------------------------------------------------------------

    def test_a_command_that_ends_well_says_so(self, workbench: Workbench) -> None:
        report = self.carry_out(workbench, workbench.titles.well)
        assert (report.end.by, report.end.status) == (EndedBy.EXIT, 0)
        assert report.failed_step is None
        assert (report.end.survivors, report.limit, report.guards) == ((), None, ())
        assert report.end.wall_s >= 0

    def test_a_command_that_does_not_end_is_ended_by_its_limit(self, workbench: Workbench) -> None:
        title = workbench.titles.endless
        report = self.carry_out(workbench, title)
        assert report.end.by is EndedBy.TIME_LIMIT
        assert report.end.status is None
        assert report.end.wall_s >= title.command.time_limit_s
        assert report.end.survivors == ()

    def test_a_command_that_is_not_there_is_told_from_one_that_failed(
        self, workbench: Workbench
    ) -> None:
        report = self.carry_out(workbench, workbench.titles.missing)
        assert report.end.by is EndedBy.NOT_FOUND
        assert (report.end.status, report.end.wall_s) == (None, 0.0)

    def test_a_stop_ends_the_pass_and_says_so(self, workbench: Workbench) -> None:
        report = workbench.bench.carry_out(
            task(workbench.titles.endless, watch=GuardWatch((), ())),
            _at_once,
        )
        assert report.end.by is EndedBy.STOPPED
        assert report.end.survivors == ()

    def test_nothing_is_left_running_after_a_pass(self, workbench: Workbench) -> None:
        self.carry_out(workbench, workbench.titles.endless)
        left = workbench.bench.recover("run-1")
        assert (left.ended, left.survivors) == ((), ())

    def test_a_plain_command_is_run_to_its_end(self, workbench: Workbench) -> None:
        end = workbench.bench.run(workbench.quick)
        assert (end.argv, end.by, end.status) == (workbench.quick.argv, EndedBy.EXIT, 0)

    def test_a_level_is_set_and_read_in_the_order_of_its_expect(self, workbench: Workbench) -> None:
        expect = (
            Bound(reading="memory.available", unit="GiB", at_least=0.01),
            Bound(reading="cpu.load", unit="%", at_most=100.0),
        )
        report = workbench.bench.set_level(
            LevelTask(condition="power", level="stock", command=workbench.quick, expect=expect)
        )
        assert report.end is not None
        assert report.end.status == 0
        assert [reading.name for reading in report.readings] == ["memory.available", "cpu.load"]

    def test_a_level_without_a_command_is_only_read(self, workbench: Workbench) -> None:
        report = workbench.bench.set_level(
            LevelTask(condition="slot", level="alone", command=None, expect=())
        )
        assert (report.end, report.readings) == (None, ())
