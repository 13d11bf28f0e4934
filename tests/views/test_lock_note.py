"""The note beside the runner's lock: what is waited at, for whoever looks from elsewhere."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from harness.plan import document as d
from harness.plan.document import Then
from harness.rig.locks import RunnerLock, runner_at_work
from harness.rules.gates import GateWatch
from harness.run import instructions as i
from harness.run.state import begin
from harness.views.lock_note import LockNote
from harness.views.waiting import gate_words, gates_json, waiting_words
from tests.rules.strategies import gate, sample
from tests.run.rehearsal import plan

GPU = "gpu.temperature"
EVENING = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)
STATE = begin(plan())
(CELL,) = STATE.grid.cells
CARRY_OUT = i.CarryOut(cell=CELL, attempt=1, warm_up=False, limits=())


class Waiting:
    """A wait at one gate, second by second, and what was written down."""

    def __init__(self) -> None:
        self.at_s, self.beats = 0.0, 0
        self.told: list[dict[str, Any] | None] = []
        self.note = LockNote(
            beat=self.beat,
            tell=self.told.append,
            now=lambda: EVENING + timedelta(seconds=self.at_s),
            steady_s=lambda: self.at_s,
        )
        self.watch = GateWatch((gate(46.0, for_s=10.0, then=Then.MARK),), ())

    def beat(self) -> None:
        self.beats += 1

    def sampled(self, value: float | None) -> dict[str, Any]:
        now = sample(self.at_s, {GPU: value})
        self.watch.feed(now, waited_s=self.at_s)
        self.note.sampled(now)
        told = self.told[-1]
        assert told is not None
        return told

    def until(self, at_s: int) -> dict[str, Any]:
        told: dict[str, Any] = {}
        while self.at_s <= at_s:
            told = self.sampled(40.0 + 40.0 * math.exp(-self.at_s / 90.0))
            self.at_s += 1.0
        return told


def test_a_wait_tells_the_reading_now_and_when_the_gate_is_foretold_to_open() -> None:
    waiting = Waiting()
    waiting.note.waits(waiting.watch)
    (one,) = waiting.until(120)["gates"]
    assert (one["reading"], one["bound"], one["unit"], one["met"]) == (
        GPU, "at most 46 °C", "°C", False,
    )  # fmt: skip
    assert one["value"] == pytest.approx(50.54, abs=0.01)
    # 40 + 40 exp(-t / 90) is at 46 °C after 170.74 s, and then holds for 10 s
    opens_at = datetime.fromisoformat(one["opens_at"])
    assert (opens_at - EVENING).total_seconds() == pytest.approx(180.7, abs=1.0)


def test_a_gate_that_holds_tells_when_it_has_held_long_enough() -> None:
    waiting = Waiting()
    waiting.note.waits(waiting.watch)
    (one,) = waiting.until(175)["gates"]
    assert one["met"]
    opens_at = datetime.fromisoformat(one["opens_at"])
    assert (opens_at - EVENING).total_seconds() == 181.0


def test_nothing_is_written_in_a_pass_and_the_note_is_taken_back_before_it() -> None:
    waiting = Waiting()
    waiting.note.waits(waiting.watch)
    waiting.until(3)
    before = waiting.beats
    waiting.note.next(STATE, CARRY_OUT)
    assert waiting.told[-1] is None
    count = len(waiting.told)
    waiting.note.sampled(sample(0.0, {GPU: 80.0}))
    waiting.note.next(STATE, CARRY_OUT)
    assert len(waiting.told) == count
    assert waiting.beats == before + 1  # it beats in a pass too


def test_the_words_say_what_is_known() -> None:
    waiting = Waiting()
    waiting.note.waits(waiting.watch)
    assert waiting_words(waiting.until(5)) == (
        "waits at a gate since 20:00:00 UTC: gpu.temperature at most 46 °C: 77.8384 °C now, "
        "nothing foretold yet"
    )
    assert waiting_words(waiting.until(120)).endswith("now, foretold to open at 20:03:00 UTC")
    assert waiting_words(waiting.until(175)).endswith("now, met; holds long enough at 20:03:01 UTC")
    assert waiting_words(waiting.sampled(None)).endswith("at most 46 °C: not measured: no answer")


def test_a_wait_for_a_persons_hours_is_told_until_it_is_over() -> None:
    waiting = Waiting()
    hours = d.Person(from_minute=8 * 60, to_minute=9 * 60)
    night = d.Night(start_minute=0, end_minute=420, days=(), zone="Europe/Lisbon")
    asked = begin(plan(person=hours, night=night))
    waiting.note.next(asked, i.AwaitHours(seconds=12 * 3600.0))
    waiting.at_s = 60.0
    waiting.note.next(asked, i.AwaitHours(seconds=12 * 3600.0 - 60.0))  # woken, and goes on
    told = waiting.told[-1]
    assert told is not None
    assert waiting_words(told) == (
        "waits since 20:00:00 UTC for a person's hours: 08:00 to 09:00, Europe/Lisbon; the step is "
        "asked at 2026-03-03 08:00:00 UTC"
    )
    assert gates_json(told) == {
        "since": "2026-03-02T20:00:00+00:00",
        "at": "2026-03-02T20:01:00+00:00",
        "gates": [],
        "person_from": "2026-03-03T08:00:00+00:00",
    }
    waiting.note.next(asked, CARRY_OUT)
    assert waiting.told[-1] is None


def test_of_a_load_no_forecast_is_promised() -> None:
    gate = {"reading": "cpu.load", "bound": "at most 70 %", "unit": "%", "value": 98.5, "why": None}
    assert gate_words({**gate, "met": False, "opens_at": None}) == (
        "cpu.load at most 70 %: 98.5 % now"
    )


def test_who_looks_at_the_lock_finds_the_note_however_often_it_is_written(tmp_path: Path) -> None:
    waiting = Waiting()
    waiting.note.waits(waiting.watch)
    short: dict[str, Any] = {"since": "", "at": "", "gates": [], "person_from": None}
    long = waiting.until(120)
    with RunnerLock(tmp_path, plan="a.yaml", now=EVENING) as lock:
        for told in (long, short, long, None):
            lock.tell(told)
            owner = runner_at_work(tmp_path)
            assert owner is not None
            assert owner.waits == told
            assert gates_json(owner.waits) == told
            assert (owner.plan, owner.pid) == ("a.yaml", lock.owner.pid)


def test_a_note_that_is_being_cut_is_still_read(tmp_path: Path) -> None:
    with RunnerLock(tmp_path, plan="a.yaml", now=EVENING):
        with (tmp_path / RunnerLock.NAME).open("ab") as file:
            file.write(b'"gates": []}}')  # the end of a longer one
        owner = runner_at_work(tmp_path)
        assert owner is not None
        assert owner.plan == "a.yaml"
