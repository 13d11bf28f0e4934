"""Jumps of the clock of the day: on record, never in a duration, and no pass is kept over one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from harness.plan import document as d
from harness.rig.rehearsed import RehearsedClock
from harness.rig.two_clocks import LEAST_SLEEP_S
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.clock_watch import (
    LEAST_JUMP_S,
    ClockWatch,
    jump_words,
    jumped_unwatched,
)
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan

HOUR_S = 3600.0


@dataclass(slots=True)
class JumpingClock(RehearsedClock):
    """A clock of the day that is set at chosen moments of the steady clock: (at, by), seconds."""

    jumps: list[tuple[float, float]] = field(default_factory=list)

    def now(self) -> datetime:
        gained_s = sum(by_s for at_s, by_s in self.jumps if at_s <= self.elapsed_s)
        return self.start + timedelta(seconds=self.elapsed_s + gained_s)


@dataclass
class TwoClocks:
    """Both clocks, set by hand."""

    day: datetime = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)
    steady: float = 100.0
    suspended: float = 0.0

    def now(self) -> datetime:
        return self.day

    def local_minute(self, zone: str = "") -> int:
        return 0

    def steady_s(self) -> float:
        return self.steady

    def suspended_s(self) -> float:
        return self.suspended

    def wait(self, seconds: float, interrupt: Callable[[], bool]) -> bool:
        raise AssertionError("nothing waits")

    def pass_time(self, day_s: float, steady_s: float) -> None:
        self.day += timedelta(seconds=day_s)
        self.steady += steady_s


@pytest.mark.parametrize(
    ("day_s", "steady_s", "jump_s"),
    [
        (60.0, 60.0, 0.0),
        (60.0 + LEAST_JUMP_S / 2, 60.0, 0.0),
        (61.0, 60.0, 1.0),
        (60.0 - 7200.0, 60.0, -7200.0),
        (3600.0, 3600.0, 0.0),  # a suspend, where the steady clock counts it
        (36_010.0, 36_000.0, 0.0),  # slewed by 278 ppm over ten hours: RFC 5905 allows 500
        (36_020.0, 36_000.0, 20.0),
    ],
)
def test_a_jump_is_what_one_clock_gained_on_the_other(
    day_s: float, steady_s: float, jump_s: float
) -> None:
    clock = TwoClocks()
    watch = ClockWatch(clock)
    clock.pass_time(day_s, steady_s)
    assert watch.look() == pytest.approx(jump_s)
    assert watch.look() == 0.0


@pytest.mark.parametrize("hours", [1, -1])
def test_summer_time_is_no_jump(hours: int) -> None:
    clock = TwoClocks(day=datetime(2026, 3, 29, 0, 59, tzinfo=UTC))
    watch = ClockWatch(clock)
    clock.pass_time(120.0, 120.0)
    clock.day = clock.day.astimezone(timezone(timedelta(hours=hours)))
    assert watch.look() == 0.0


@pytest.mark.parametrize("by_s", [7200.0, -7200.0, 0.9, 10 * 365 * 86400.0])
def test_a_jump_in_a_pass_makes_it_void_and_is_on_record(by_s: float) -> None:
    clock = JumpingClock(jumps=[(15.0, by_s)])  # passes of 10 s each: in the second
    run = Rehearsal(plan(keep=3), clock=clock)
    assert run.go_on() is Outcome.FINISHED
    assert run.verdicts() == ["kept", "void", "kept", "kept"]
    [jump] = run.of(r.ClockJumped)
    assert jump.by_s == pytest.approx(by_s)
    assert jump.during.endswith("-002")
    [void] = [each for each in run.of(r.PassJudged) if each.verdict is Verdict.VOID]
    assert void.fault == "clock-jumped"
    assert [each.clock_jumped_s for each in run.of(r.PassEnded)] == [
        0.0, pytest.approx(by_s), 0.0, 0.0,
    ]  # fmt: skip


@pytest.mark.parametrize("by_s", [7200.0, -7200.0])
def test_a_jump_between_passes_is_on_record_and_costs_no_pass(by_s: float) -> None:
    gate = d.Gate(
        bound=d.Bound(reading="cpu.load", unit="%", at_most=10.0),
        for_s=5.0, give_up_s=60.0, then=d.Then.MARK,
    )  # fmt: skip
    clock = JumpingClock(jumps=[(3.0, by_s)])  # while the first gate is awaited
    run = Rehearsal(plan(keep=2, gates=(gate,)), clock=clock)
    run.model.constants = {"cpu.load": 2.0}
    assert run.go_on() is Outcome.FINISHED
    assert run.verdicts() == ["kept", "kept"]
    [jump] = run.of(r.ClockJumped)
    assert (jump.by_s, jump.during) == (pytest.approx(by_s), "")
    assert run.records.index(jump) < run.records.index(run.of(r.PassStarted)[0])


def test_no_duration_is_negative_or_an_hour_long_whatever_the_clock_of_the_day_does() -> None:
    gate = d.Gate(
        bound=d.Bound(reading="cpu.load", unit="%", at_most=10.0),
        for_s=5.0, give_up_s=60.0, then=d.Then.MARK,
    )  # fmt: skip
    jumps = [(float(at), (-1) ** at * 5000.0 * at) for at in range(2, 60, 7)]
    run = Rehearsal(plan(keep=4, at_most=12, gates=(gate,)), clock=JumpingClock(jumps=jumps))
    run.model.constants = {"cpu.load": 2.0}
    run.go_on()
    assert run.of(r.ClockJumped)
    durations = [each.waited_s for each in run.of(r.PassStarted)]
    durations += [each.end.wall_s for each in run.of(r.PassEnded)]
    assert all(0.0 <= each < 120.0 for each in durations)
    instants = [entry.at for entry in run.journal.entries()]
    assert instants != sorted(instants)  # instants may go back; the records say where


def test_the_reference_is_due_by_its_age_whatever_the_clock_of_the_day_does() -> None:
    reference = d.Reference(title="Title 0", scene="loop", setting="fhd", every_s=35.0)

    def references(jumps: list[tuple[float, float]]) -> int:
        run = Rehearsal(
            plan(keep=12, at_most=20, reference=reference), clock=JumpingClock(jumps=jumps)
        )
        run.go_on()
        return sum(each.reference for each in run.of(r.PassStarted))

    undisturbed = references([])
    assert undisturbed >= 4
    for by_s in (3600.0, -3600.0):
        # the pass in which it jumps is void and taken again: one more may be due
        assert undisturbed <= references([(55.0, by_s)]) <= undisturbed + 1


# --- while no runner was there ------------------------------------------------------------


def left_and_taken_up(
    jumps: list[tuple[float, float]], *, away_s: float, boot: str = "boot-1"
) -> list[r.ClockJumped]:
    """Stop a run after its first pass, leave the rig alone, go on; return the jumps on record."""
    run = Rehearsal(plan(keep=2), clock=JumpingClock(jumps=jumps))
    assert run.go_on(stop=run.after(1, r.PassJudged)) is Outcome.PAUSED
    run.clock.elapsed_s += away_s
    if boot != run.boot:  # the steady clock begins anew with the boot, the day goes on
        run.clock.start += timedelta(seconds=run.clock.elapsed_s - 5.0)
        run.clock.elapsed_s = 5.0
        run.boot = boot
    assert run.go_on() is Outcome.FINISHED
    assert run.go_on() is Outcome.FINISHED  # told once
    jumped: list[r.ClockJumped] = run.of(r.ClockJumped)
    return jumped


@pytest.mark.parametrize(
    ("by_s", "away_s"), [(7200.0, 36_000.0), (-7200.0, 36_000.0), (-0.9, 600.0)]
)
def test_a_jump_while_no_runner_was_there_is_told_by_the_next_one_of_the_same_boot(
    by_s: float, away_s: float
) -> None:
    (jump,) = left_and_taken_up([(500.0, by_s)], away_s=away_s)
    assert jump.by_s == pytest.approx(by_s)
    assert (jump.unwatched, jump.at_least, jump.during) == (True, False, "")


def test_a_rig_left_alone_for_a_week_has_not_jumped() -> None:
    assert left_and_taken_up([], away_s=7 * 86_400.0) == []


def test_a_jump_that_a_runner_saw_is_not_told_again_by_the_next() -> None:
    seen = [(3.0, 3600.0)]  # in the first pass
    (jump,) = left_and_taken_up(seen, away_s=3600.0)
    assert not jump.unwatched
    assert jump.by_s == pytest.approx(3600.0)


def test_from_boot_to_boot_only_an_instant_before_the_last_tells_of_a_jump() -> None:
    assert left_and_taken_up([], away_s=3600.0, boot="boot-2") == []
    run = Rehearsal(plan(keep=2))
    run.go_on(stop=run.after(1, r.PassJudged))
    run.clock.start -= timedelta(hours=9)  # an empty battery on the board
    run.boot = "boot-2"
    assert run.go_on() is Outcome.FINISHED
    (jump,) = run.of(r.ClockJumped)
    assert jump.by_s == pytest.approx(-9 * 3600.0)
    assert (jump.unwatched, jump.at_least) == (True, True)
    runners = [n for n, each in enumerate(run.records) if isinstance(each, r.RunnerStarted)]
    assert run.records.index(jump) == runners[-1] + 1


def test_a_run_kept_before_clocks_were_written_down_is_told_by_its_instants() -> None:
    now = r.Clocks(boot="boot-1", day_s=1_000_000.0, steady_s=50.0)
    before = datetime.fromtimestamp(1_000_100.0, tz=UTC)
    (jump,) = jumped_unwatched(None, now, last_at=before)
    assert (jump.by_s, jump.at_least) == (-100.0, True)
    assert jumped_unwatched(None, now, last_at=None) == ()


def test_a_sleep_is_told_apart_from_a_jump() -> None:
    clock = TwoClocks()
    watch = ClockWatch(clock)
    clock.pass_time(3600.0, 3600.0)
    clock.suspended += 3540.0
    assert watch.look() == 0.0
    assert watch.slept_s() == 3540.0
    assert watch.slept_s() == 0.0
    clock.suspended += LEAST_SLEEP_S / 2
    assert watch.slept_s() == 0.0


def test_a_clock_that_was_read_late_is_no_jump() -> None:
    """A process that is kept waiting between its two clocks reads them again."""

    class Waiting(TwoClocks):
        waits: int = 0

        def now(self) -> datetime:
            if self.waits:
                self.waits -= 1
                self.pass_time(0.4, 0.4)
            return self.day

    clock = Waiting()
    watch = ClockWatch(clock)
    for waits in (1, 4):
        clock.waits = waits
        clock.pass_time(60.0, 60.0)
        assert watch.look() == 0.0
    clock.waits = 1
    clock.pass_time(61.0, 60.0)
    assert watch.look() == pytest.approx(1.0)


def test_a_pass_that_starts_after_a_sleep_which_followed_its_gates_is_void() -> None:
    run = Rehearsal(plan(keep=2))
    kept = run.journal.append

    def asleep(records: Sequence[r.Record], **more: Any) -> None:
        kept(records, **more)
        if isinstance(records[-1], r.PassStarted) and len(run.of(r.PassStarted)) == 1:
            run.clock.elapsed_s += 3600.0
            run.clock._suspended_s += 3600.0

    run.journal.append = asleep  # type: ignore[method-assign]
    assert run.go_on() is Outcome.FINISHED
    assert run.verdicts() == ["void", "kept", "kept"]
    (slept, *_) = run.of(r.PassEnded)
    assert slept.slept_s == pytest.approx(3600.0)
    assert run.of(r.PassJudged)[0].fault == "slept"


class Hours(RehearsedClock):
    """A wait goes by in minutes, as on a real clock that asks meanwhile; midnight is at 0 s."""

    summer_at_s = float("inf")

    def local_minute(self, zone: str = "") -> int:
        shift = 60 if self.elapsed_s >= self.summer_at_s else 0
        return (int(self.elapsed_s / 60) + shift) % 1440

    def wait(self, seconds: float, interrupt: Callable[[], bool]) -> bool:
        if seconds == float("inf"):
            return RehearsedClock.wait(self, seconds, interrupt)
        end_s = self.elapsed_s + seconds
        while self.elapsed_s < end_s:
            if interrupt():
                return False
            self.elapsed_s += 60.0
        return True


@pytest.mark.parametrize(("summer_at_s", "asked_h"), [(float("inf"), 8), (2 * HOUR_S, 7)])
def test_a_person_is_asked_within_the_hours_also_where_summer_time_begins(
    summer_at_s: float, asked_h: int
) -> None:
    slot = d.Condition(
        name="slot", by=d.By.OPERATOR, levels=(d.Level(name="one", say="Card in slot one."),)
    )
    clock = Hours()
    clock.summer_at_s = summer_at_s
    person = d.Person(from_minute=8 * 60, to_minute=20 * 60)
    run = Rehearsal(plan(keep=1, conditions=(slot,), person=person), clock=clock)
    clock.person = run.confirms()
    assert run.go_on() is Outcome.FINISHED
    asked = next(e for e in run.journal.entries() if isinstance(e.record, r.StepAsked))
    assert (asked.at - clock.start).total_seconds() == asked_h * HOUR_S


@pytest.mark.parametrize(
    ("by_s", "words"),
    [
        (0.9, "the clock of the day was set forward by 0.9 s"),
        (-7200.0, "the clock of the day was set back by 2 h 0 min 0.0 s"),
        (-61.04, "the clock of the day was set back by 1 min 1.0 s"),
        (59.96, "the clock of the day was set forward by 1 min 0.0 s"),
    ],
)
def test_a_jump_is_told_with_its_size(by_s: float, words: str) -> None:
    assert jump_words(by_s) == words
