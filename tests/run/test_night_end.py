"""Leaving between passes at the night's end, in simulated time: a pass takes 10 s here."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import timedelta

import pytest

from harness.rig.stop import StopFlag
from harness.run import records as r
from harness.run.instructions import Outcome
from harness.run.night_end import NightEnd
from tests.run.rehearsal import Rehearsal, plan


@pytest.fixture
def flag() -> Iterator[StopFlag]:
    found = StopFlag()
    yield found
    found.close()


def night(flag: StopFlag, *, until_s: float, rehearsal: Rehearsal | None = None) -> Rehearsal:
    found = rehearsal or Rehearsal(plan(keep=5, at_most=8))
    until = found.clock.now() + timedelta(seconds=until_s)
    end = NightEnd(until, now=found.clock.now, stop=flag.raise_for)
    flag.asked = end.look
    outcome = found.go_on(stop=flag, stop_reason=lambda: flag.reason, onlooker=end)
    assert outcome is Outcome.PAUSED
    return found


def test_a_pass_that_does_not_fit_is_not_begun(flag: StopFlag) -> None:
    # The first is taken to need its time limit of 60 s, the others the 10 s that it took: the
    # last that is over before 65 s begins at 50 s.
    left = night(flag, until_s=65.0, rehearsal=Rehearsal(plan(keep=9, at_most=9)))

    assert len(left.of(r.PassJudged)) == 6
    assert left.clock.elapsed_s == 60.0


def test_before_a_length_is_known_the_time_limit_is_taken(flag: StopFlag) -> None:
    left = night(flag, until_s=60.0)

    assert left.of(r.PassStarted) == []


def test_no_pass_is_broken_off_and_the_reason_is_kept(flag: StopFlag) -> None:
    left = night(flag, until_s=61.0, rehearsal=Rehearsal(plan(keep=9, at_most=9)))

    assert {str(each.verdict.value) for each in left.of(r.PassJudged)} == {"kept"}
    assert 51.0 - 10.0 < left.clock.elapsed_s <= 61.0
    (paused,) = left.of(r.RunPaused)
    ends = left.clock.now() - timedelta(seconds=left.clock.elapsed_s) + timedelta(seconds=61.0)
    at = f"{ends.astimezone():%H:%M %Z}"
    assert paused.reason == f"the night ends at {at}; a pass of 10 s does not fit"


def test_the_next_night_goes_on_where_this_one_ended(flag: StopFlag) -> None:
    left = night(flag, until_s=61.0, rehearsal=Rehearsal(plan(keep=9, at_most=9)))
    before = len(left.of(r.PassJudged))

    assert left.go_on() is Outcome.FINISHED
    assert 0 < before < 9
    assert len(left.of(r.PassJudged)) == 9


def test_a_night_that_is_over_begins_nothing(flag: StopFlag) -> None:
    left = night(flag, until_s=0.0)

    assert left.of(r.PassStarted) == []


def test_the_flag_calls_what_is_asked_each_time_and_not_from_a_signal(flag: StopFlag) -> None:
    times = []
    flag.asked = lambda: times.append(os.getpid())
    flag.raise_for("told")
    assert times == []

    flag()
    flag()

    assert len(times) == 2
