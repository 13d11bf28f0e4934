"""The daemon's loop with fakes: looks that fail, the order in which it stops, what it says."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.errors import Problem, RigError
from harness.watch import events as e
from harness.watch.alarm import Alarm
from harness.watch.daemon import Daemon, Waker
from harness.watch.posting import Posting
from harness.watch.service_manager import ServiceManager
from tests.watch.fakes import FakeLog, Simulated


class Place:
    """A daemon over a simulated watch; *when* says what happens at its n-th sleep."""

    def __init__(self, folder: Path) -> None:
        self.simulated = Simulated(folder)
        self.sleeps: list[float] = []
        self.waker = self.Sleepless(self)
        self.daemon = Daemon(
            watch=self.simulated.watch,
            posting=Posting(
                self.simulated.journal,
                (),
                log=self.simulated.log,
                now=self.simulated.rig.now,
                steady_s=self.simulated.rig.steady_s,
            ),
            manager=ServiceManager(),
            waker=self.waker,
            log=self.simulated.log,
        )

    def slept(self, seconds: float) -> None:
        self.sleeps.append(seconds)
        self.simulated.rig.passes(seconds)

    class Sleepless(Waker):
        def __init__(self, place: Place) -> None:
            super().__init__()
            self.place = place

        def sleep(self, seconds: float, *, also: tuple[int, ...] = ()) -> None:
            self.place.slept(seconds)
            if len(self.place.sleeps) >= 3 and not self.stops:
                self.stop("told to stop by SIGTERM")


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    found = Place(tmp_path)
    yield found
    found.waker.close()
    found.simulated.journal.close()


def test_while_it_waits_it_looks_every_half_minute(place: Place) -> None:
    assert place.daemon.carry_on(once=False) == "told to stop by SIGTERM"
    assert place.sleeps == [30.0, 30.0, 30.0]


def test_a_look_that_cannot_be_kept_does_not_end_the_watch(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: e.Event) -> None:
        raise RigError(Problem(code="rig-folder", what="No space left on device", do="make room"))

    place.simulated.queue()
    place.simulated.rig.until("2026-11-25T22:30:00+00:00")
    monkeypatch.setattr(place.simulated.journal, "keep", full)

    place.daemon.carry_on(once=False)

    assert place.simulated.runners.started == []  # no start without its event
    assert place.simulated.log.words().count("this look was broken off") == 3


def test_a_runner_that_does_not_leave_is_ended_when_its_time_is_up(place: Place) -> None:
    place.simulated.queue()
    place.simulated.rig.until("2026-11-25T22:30:00+00:00")

    place.daemon.carry_on(once=False)

    runner = place.simulated.runners.last
    assert (runner.stops, runner.ended) == (1, True)
    assert sum(place.sleeps[3:]) == 40.0
    (left,) = place.simulated.events(e.Left)
    assert isinstance(left, e.Left)
    assert left.how is e.Leaving.STOPPED


def test_the_next_three_starts_are_said_in_local_time_and_utc(place: Place) -> None:
    place.simulated.queue()

    place.daemon.carry_on(once=False)

    said = [str(more["when"]) for event, more in place.simulated.log.said if event == "next start"]
    assert len(said) == 3  # said once, not at every look
    assert "(2026-11-25 22:30 UTC): /plans/quay.yaml" in said[0]


def test_the_alarm_rings_at_the_instant_that_was_set_last_and_at_no_other() -> None:
    rung, log = threading.Event(), FakeLog()
    with Alarm(rung.set, log=log) as alarm:
        alarm.set(datetime(2099, 1, 1, tzinfo=UTC))
        alarm.set(None)
        alarm.set(datetime(2020, 1, 1, tzinfo=UTC))  # long gone: however late, it rings
        assert rung.wait(10)
    assert log.said == []


def test_an_alarm_that_fails_is_written_down() -> None:
    over, log = threading.Event(), FakeLog()

    class Told(FakeLog):
        def warning(self, event: str, **more: object) -> None:
            log.warning(event, **more)
            over.set()

    def fails() -> None:
        raise OSError(9, "Bad file descriptor")

    with Alarm(fails, log=Told()) as alarm:
        alarm.set(datetime(2020, 1, 1, tzinfo=UTC))
        assert over.wait(10)
    assert log.said[0][0] == "the alarm failed"
    assert "Bad file descriptor" in str(log.said[0][1]["error"])
