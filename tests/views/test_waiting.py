"""What a wait, a warm-up and a limit look like: the line ahead, and the sentences of a story."""

from __future__ import annotations

import math

from harness.plan.document import Then
from harness.rig.crossings import ExpectNotMet
from harness.rig.tasks import OtherLoad
from harness.rules.gates import GateWatch
from harness.run import records as r
from harness.run.state import Grid
from harness.views.progress import ahead
from harness.views.story import sentence
from tests.rules.strategies import gate, sample
from tests.run.rehearsal import plan

GPU = "gpu.temperature"
GRID = Grid.of(plan())
(CELL,) = GRID.cells


def test_a_wait_says_when_its_bound_will_be_reached() -> None:
    watch = GateWatch((gate(46.0, then=Then.MARK),), ())
    for second in range(121):
        value = 40.0 + 40.0 * math.exp(-second / 90.0)  # 46 °C after 170.7 s
        watch.feed(sample(second, {GPU: value}), waited_s=float(second))
    assert ahead(watch, waited_s=120.0) == ["gpu.temperature at most 46 °C in about 50 s"]


def test_a_wait_that_has_just_begun_promises_nothing() -> None:
    watch = GateWatch((gate(46.0),), ())
    watch.feed(sample(0, {GPU: 80.0}), waited_s=0.0)
    assert ahead(watch, waited_s=0.0) == []


def test_an_alarm_says_what_to_do_first() -> None:
    alarm = r.AlarmRaised(
        hold="h",
        reading=GPU,
        unit="°C",
        bound="at most 90.5 °C",
        value=93.0,
        waited_s=120.0,
        reason="it was not seen to come back after its command was ended",
    )
    assert sentence(alarm, GRID) == (
        "ALARM: gpu.temperature was 93 °C after 120 s, and must become at most 90.5 °C: it was not "
        "seen to come back after its command was ended. Look at the rig now; switch it off if it "
        "stays so"
    )


def test_a_proof_says_how_soon_the_reading_came_back() -> None:
    cleared = r.LimitCleared(
        hold="h", reading=GPU, unit="°C", bound="at most 90 °C", value=89.5, waited_s=4.0
    )
    assert sentence(cleared, GRID) == (
        "after the limit gpu.temperature was 89.5 °C, 4 s after its command was ended"
    )


def test_a_warm_up_that_never_got_steady_says_so() -> None:
    warm = r.CellWarmedUp(
        cell=CELL,
        attempt=3,
        on="average_fps",
        passes=3,
        difference=0.12,
        within=0.01,
        steady=False,
        reason="average_fps of the last two of 3 warm-up passes differ by 12 %, 1 % allowed",
    )
    assert sentence(warm, GRID).endswith(
        "not steady, goes on marked: average_fps of the last two of 3 warm-up passes differ by "
        "12 %, 1 % allowed"
    )


def test_a_pass_names_who_else_was_at_work() -> None:
    ended = r.PassEnded(
        cell=CELL,
        attempt=1,
        end=None,
        others=(OtherLoad(name="indexer", pid=40, share=0.21),),
        expects=(ExpectNotMet(reading="gpu.link.width", bound="16", best=8.0, unit="", samples=3),),
    )
    assert "other processes at work: indexer (40) 21 % of the processors' time" in sentence(
        ended, GRID
    )
