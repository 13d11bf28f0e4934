"""The watch with fakes all round: what it starts, sees, writes down and tells."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from harness.watch import events as e
from harness.watch.due import Held
from harness.watch.notices import Kept
from harness.watch.ports import Line, RunSeen
from tests.watch.fakes import NIGHT, FakeRunner, Simulated

START = "2026-11-25T22:30:00+00:00"
STEP = {"step": 1, "say": ["Card in slot two."], "opens_case": True, "reboot": False}


@pytest.fixture
def simulated(tmp_path: Path) -> Iterator[Simulated]:
    found = Simulated(tmp_path)
    yield found
    found.journal.close()


def seen(phase: str, *, why: str = "", plan: str = "/plans/quay.yaml") -> RunSeen:
    return RunSeen(
        run="run-1", plan_name="quay", plan_hash=plan, phase=phase, why=why, step="step 1"
    )


def test_a_plan_is_started_at_its_night_with_the_night_s_end_handed_on(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at("2026-11-25T22:29:59+00:00")
    assert simulated.runners.started == []

    simulated.look_at(START)

    ((opening, _),) = simulated.runners.started
    assert opening.end is not None
    assert opening.end.isoformat() == "2026-11-26T07:00:00+00:00"


def test_the_start_is_kept_before_the_runner_is_started(simulated: Simulated) -> None:
    simulated.queue()
    simulated.runners.refuses = True

    simulated.look_at(START)

    assert len(simulated.events(e.Started)) == 1
    (left,) = simulated.events(e.Left)
    assert isinstance(left, e.Left)
    assert left.how is e.Leaving.REFUSED


def test_a_second_firing_in_the_same_night_starts_nothing(simulated: Simulated) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.runners.last.leaves(5)
    simulated.stores.seen = [seen("paused", why="the night ends at 07:00")]

    simulated.look_at("2026-11-26T01:00:00+00:00")
    simulated.look_at("2026-11-26T02:00:00+00:00")

    assert len(simulated.runners.started) == 1
    assert simulated.journal.standing.order == [1]  # it goes on in the next night


def test_a_late_start_says_how_late_it_is(simulated: Simulated) -> None:
    simulated.queue()
    simulated.rig.passes(5 * 3600.0, asleep=True)  # from 20:00 to 01:00

    simulated.watch.look()

    (started,) = simulated.events(e.Started)
    assert isinstance(started, e.Started)
    assert started.late_s == 2.5 * 3600
    assert simulated.log.words()[0] == "the machine slept"


def test_a_clock_that_is_set_back_starts_nothing_twice_and_is_written_down(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.runners.last.leaves(5)
    simulated.watch.look()
    before = simulated.rig.at

    simulated.rig.at = simulated.rig.at.replace(hour=20)
    simulated.watch.look()
    simulated.look_at(before.isoformat())

    assert len(simulated.runners.started) == 1
    assert dict(simulated.log.said)["the clock was set"]["by_s"] == -7200.0


def test_a_finished_plan_leaves_the_queue_and_is_told_once(simulated: Simulated) -> None:
    simulated.queue()
    simulated.look_at(START)
    body = json.dumps({"accepted": 3, "short": 1, "failed": 0})
    simulated.stores.kept = [Kept(seq=40, kind="run-finished", body=body)]
    simulated.stores.seen = [seen("finished")]
    simulated.runners.last.leaves(1)

    simulated.watch.look()
    simulated.anew().look()

    assert simulated.journal.standing.order == []
    (notice,) = simulated.events(e.Noticed)
    assert isinstance(notice, e.Noticed)
    assert (notice.about, notice.title) == ("done", "rig-a: run-1 is done")
    assert notice.body == (
        "Cells: 3 accepted, 1 short, 0 failed.\nharness results --run run-1 --store /store"
    )


def test_a_step_that_opens_the_case_is_told_at_once_with_its_cautions(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.stores.kept = [Kept(seq=3, kind="step-asked", body=json.dumps(STEP))]
    simulated.runners.last.telling = [Line(run="run-1", kind="step-asked")]

    simulated.watch.look()

    (notice,) = simulated.events(e.Noticed)
    assert isinstance(notice, e.Noticed)
    assert notice.about == "person"
    assert "Card in slot two." in notice.body
    assert "unplug" in notice.body
    assert "harness confirm --step 1 --by YOUR-NAME --attending --run run-1" in notice.body


def test_whoever_is_asked_whether_it_is_still_so_is_told_what_opening_the_case_needs(
    simulated: Simulated,
) -> None:
    asked = {
        "step": 2, "say": ["See that this is still so: card in slot two."], "opens_case": False,
        "reboot": False, "reopens": True,
    }  # fmt: skip
    simulated.queue()
    simulated.look_at(START)
    simulated.stores.kept = [Kept(seq=3, kind="step-asked", body=json.dumps(asked))]
    simulated.runners.last.telling = [Line(run="run-1", kind="step-asked")]

    simulated.watch.look()

    (notice,) = simulated.events(e.Noticed)
    assert isinstance(notice, e.Noticed)
    assert "Only if it is not so: first, and while the case is open" in notice.body
    assert "unplug" in notice.body


def test_somebody_is_called_to_stay_for_the_first_pass(simulated: Simulated) -> None:
    stay = {"step": 2, "say": ["Stay."], "opens_case": False, "reboot": False, "attend": True}
    simulated.queue()
    simulated.look_at(START)
    simulated.stores.kept = [Kept(seq=3, kind="step-asked", body=json.dumps(stay))]
    simulated.runners.last.telling = [Line(run="run-1", kind="step-asked")]

    simulated.watch.look()

    (notice,) = simulated.events(e.Noticed)
    assert isinstance(notice, e.Noticed)
    assert "smell of burning" in notice.body
    assert "unplug" not in notice.body
    assert "harness confirm --step 2 --by YOUR-NAME --attending --run run-1" in notice.body


def test_a_held_rig_is_told_and_not_started_until_it_is_released(simulated: Simulated) -> None:
    simulated.queue()
    simulated.look_at(START)
    body = json.dumps({"hold": "h-1", "reason": "too hot", "do": "let it cool"})
    simulated.stores.kept = [Kept(seq=9, kind="rig-held", body=body)]
    simulated.stores.seen = [seen("held", why="too hot")]
    simulated.rig.held = [Held(reason="too hot")]
    simulated.runners.last.leaves(3)
    for minute in range(30, 60):
        simulated.look_at(f"2026-11-25T23:{minute}:00+00:00")
    assert len(simulated.runners.started) == 1

    simulated.rig.held = []
    simulated.look_at("2026-11-26T00:30:00+00:00")

    assert len(simulated.runners.started) == 2
    notices = [x for x in simulated.events(e.Noticed) if isinstance(x, e.Noticed)]
    assert [x.about for x in notices] == ["held"]


def test_a_rig_that_is_not_ready_is_told_with_why_and_not_tried_in_a_loop(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.runners.last.leaves(3, run="")
    for minute in range(31, 59):
        simulated.look_at(f"2026-11-25T22:{minute}:00+00:00")

    assert len(simulated.runners.started) == 1
    (notice,) = [x for x in simulated.events(e.Noticed) if isinstance(x, e.Noticed)]
    assert notice.about == "trouble"
    assert "the link is not what it should be" in notice.body


def test_a_runner_that_shows_no_sign_of_going_on_is_ended_and_started_again(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at(START)
    stuck = simulated.runners.last
    stuck.telling = [Line(run="run-1", kind="pass-started", cell="c", attempt=2)]
    simulated.watch.look()
    simulated.rig.passes(599.0)
    simulated.watch.look()
    assert not stuck.ended

    simulated.rig.passes(2.0)
    simulated.watch.look()

    assert stuck.ended
    said = dict(simulated.log.said)["stuck"]
    assert (said["cell"], said["attempt"], said["silent_s"]) == ("c", 2, 601)
    left = [x for x in simulated.events(e.Left) if isinstance(x, e.Left)]
    assert [x.how for x in left] == [e.Leaving.STUCK]
    assert len(simulated.runners.started) == 2


def test_a_sleep_of_the_machine_does_not_make_a_runner_stuck(simulated: Simulated) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.watch.look()

    simulated.rig.passes(3600.0, asleep=True)
    simulated.watch.look()

    assert not simulated.runners.last.ended


def test_a_new_daemon_takes_over_the_runner_that_outlived_the_one_before(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.runners.found = FakeRunner(tells=False)
    simulated.runners.busy = "a runner is at work: process 7, plan /plans/quay.yaml"

    simulated.anew().look()

    assert simulated.watch.at_work is not None
    assert simulated.watch.at_work.runner is simulated.runners.found
    assert len(simulated.runners.started) == 1


def test_a_step_of_a_runner_that_was_taken_over_is_told_too(simulated: Simulated) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.runners.found = FakeRunner(tells=False, run="run-1")
    simulated.stores.seen = [seen("step")]
    simulated.stores.kept = [Kept(seq=3, kind="step-asked", body=json.dumps(STEP))]

    simulated.anew().look()

    assert len(simulated.events(e.Noticed)) == 1


@pytest.mark.parametrize(
    ("phase", "why", "starts"),
    [
        ("pass", "", 2),  # interrupted: it goes on at once
        ("paused", "told to stop by SIGTERM", 2),  # with the machine: the night is not over
        ("paused", "the night ends at 07:00", 1),
        ("finished", "", 1),
    ],
)
def test_after_the_machine_was_started_anew_the_records_say_what_is_to_be_done(
    simulated: Simulated, phase: str, why: str, starts: int
) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.rig.boot = "boot-2"
    simulated.stores.seen = [seen(phase, why=why)]

    simulated.rig.passes(600.0)
    simulated.anew().look()

    assert len(simulated.runners.started) == starts


def test_a_finished_run_that_went_with_the_machine_while_it_put_back_is_started_to_do_so(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.rig.boot = "boot-2"
    simulated.stores.seen = [seen("finished")]
    simulated.rig.held = [Held(reason="run-1 set power quiet", debt_of="run-1")]

    simulated.rig.passes(600.0)
    simulated.anew().look()

    assert len(simulated.runners.started) == 2


def test_a_missed_night_is_told(simulated: Simulated) -> None:
    simulated.queue()

    simulated.look_at("2026-11-26T08:00:00+00:00")
    simulated.look_at("2026-11-26T09:00:00+00:00")

    (notice,) = [x for x in simulated.events(e.Noticed) if isinstance(x, e.Noticed)]
    assert notice.title == "rig-a: /plans/quay.yaml was not started"
    assert "2026-11-25T22:30:00+00:00" in notice.body


def test_a_plan_that_cannot_be_read_any_more_waits_and_says_why(simulated: Simulated) -> None:
    simulated.queue()
    simulated.plans.known["/plans/quay.yaml"] = "the plan has errors: no titles"

    simulated.look_at(START)
    simulated.look_at("2026-11-25T22:31:00+00:00")

    assert simulated.runners.started == []
    assert simulated.log.words().count("not started") == 1


def test_an_open_step_of_a_run_that_is_not_queued_keeps_all_others_from_starting(
    simulated: Simulated,
) -> None:
    simulated.queue()
    simulated.stores.seen = [seen("step", plan="another")]

    simulated.look_at(START)

    assert simulated.runners.started == []


def test_told_to_stop_the_runner_is_asked_and_its_night_goes_on_with_the_next_daemon(
    simulated: Simulated,
) -> None:
    simulated.queue(night=NIGHT)
    simulated.look_at(START)
    simulated.watch.ask_to_stop()
    assert simulated.runners.last.stops == 1
    simulated.stores.seen = [seen("paused", why="told to stop by SIGTERM")]
    simulated.runners.last.leaves(5)
    simulated.watch.end()

    simulated.anew().look()

    assert len(simulated.runners.started) == 2


def test_failed_cells_are_one_notice(simulated: Simulated) -> None:
    simulated.queue()
    simulated.look_at(START)
    simulated.stores.kept = [
        Kept(
            seq=n,
            kind="cell-closed",
            body=json.dumps({"cell": f"cell-{n}", "state": state, "reason": "exit 1"}),
        )
        for n, state in ((4, "failed"), (5, "accepted"), (6, "failed"))
    ]
    simulated.stores.seen = [seen("paused", why="the night ends at 07:00")]
    simulated.runners.last.leaves(5)

    simulated.watch.look()

    (notice,) = [x for x in simulated.events(e.Noticed) if isinstance(x, e.Noticed)]
    assert (notice.about, notice.title) == ("failed", "rig-a: 2 failed cells in run-1")
    assert notice.body == (
        "cell-4: exit 1\ncell-6: exit 1\nharness results --run run-1 --store /store"
    )
