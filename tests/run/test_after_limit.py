"""After a limit: hold, proof that the reading comes back, or an alarm."""

from __future__ import annotations

import pytest

from harness.plan import document as d
from harness.rig.thermal import Thermal
from harness.run import records as r
from harness.run.after_limit import PROOF_S
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan

GPU = "gpu.temperature"


def limited(
    reading: str = GPU, unit: str = "°C", at_most: float = 75.0, keep: int = 3
) -> Rehearsal:
    limit = d.Limit(bound=d.Bound(reading=reading, unit=unit, at_most=at_most))
    return Rehearsal(plan(limits=(limit,), keep=keep))


def hot(run: Rehearsal, *, room_c: float = 22.0, tau_s: float = 8.0) -> Rehearsal:
    run.model.parts = {GPU: Thermal(room_c=room_c, hot_c=90.0, tau_s=tau_s)}
    run.bench.temperatures[GPU] = 60.0
    return run


def test_a_limit_in_a_pass_voids_it_holds_the_rig_and_the_temperature_is_seen_to_fall() -> None:
    run = hot(limited())
    assert run.go_on() is Outcome.HELD
    assert run.of(r.PassJudged)[0].fault == "limit"
    (hold,) = run.of(r.RigHeld)
    assert hold.limit is not None
    assert hold.limit.value is not None
    (cleared,) = run.of(r.LimitCleared)
    assert cleared.value is not None
    assert cleared.value <= hold.limit.value - 2.0
    assert cleared.hold == hold.hold
    assert not run.of(r.AlarmRaised)


def test_a_temperature_that_does_not_fall_raises_an_alarm() -> None:
    run = hot(limited(), room_c=89.0)
    assert run.go_on() is Outcome.HELD
    (alarm,) = run.of(r.AlarmRaised)
    assert alarm.value is not None
    assert alarm.waited_s <= 120.0
    assert not run.of(r.LimitCleared)


def test_a_reading_that_was_lost_must_be_read_again() -> None:
    run = limited("gpu.power", "W", 300.0)  # the rig has none: nothing may run unwatched
    assert run.go_on() is Outcome.HELD
    (alarm,) = run.of(r.AlarmRaised)
    assert (alarm.value, alarm.waited_s) == (None, PROOF_S)
    assert "not measured: this rig has no such reading" in alarm.reason


def test_a_limit_that_is_no_temperature_must_be_inside_again_and_its_advice_is_not_of_heat() -> (
    None
):
    run = limited("gpu.power", "W", 300.0)
    run.model.constants = {"gpu.power": 320.0}
    assert run.go_on() is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert "hot" not in hold.do
    run.model.constants = {"gpu.power": 40.0}
    assert run.of(r.AlarmRaised)[0].bound == "at most 300 W"


def test_the_advice_after_a_temperature_is_of_heat() -> None:
    run = hot(limited())
    run.go_on()
    assert "let hot parts cool" in run.of(r.RigHeld)[0].do


@pytest.mark.parametrize("after", [r.LimitCleared, r.RigHeld])
def test_a_runner_that_comes_back_to_the_hold_proves_it_once(after: type[r.Record]) -> None:
    run = hot(limited())
    run.go_on()
    if after is r.RigHeld:  # the runner was gone before the proof
        cleared = [e for e in run.journal._entries if isinstance(e.record, r.LimitCleared)]
        for entry in cleared:
            run.journal._entries.remove(entry)
    assert run.go_on() is Outcome.HELD
    assert len(run.of(r.LimitCleared)) == 1


def test_told_to_stop_before_the_proof_is_an_alarm_that_says_so() -> None:
    run = hot(limited())
    stop = run.after(1, r.RigHeld)
    assert run.go_on(stop=stop) is Outcome.HELD
    (alarm,) = run.of(r.AlarmRaised)
    assert "told to stop" in alarm.reason


def test_after_a_release_the_run_goes_on() -> None:
    run = hot(limited(keep=1))
    run.go_on()
    run.release()
    run.model.parts = {GPU: Thermal(room_c=22.0, hot_c=60.0, tau_s=60.0)}
    assert run.go_on() is Outcome.FINISHED


# --- what is judged under load ----------------------------------------------------------------


def slots(width: float, *, load: float = 97.0) -> Rehearsal:
    levels = (
        d.Level(
            name="alone",
            command=d.Command(argv=("set-slot",), time_limit_s=30.0),
            expect=(d.Bound(reading="gpu.link.width", unit="", equals=16.0),),
        ),
    )
    run = Rehearsal(
        plan(keep=1, conditions=(d.Condition(name="slot", by=d.By.COMMAND, levels=levels),))
    )
    run.model.constants = {"gpu.link.width": width, "gpu.load": load}
    return run


def test_a_link_that_is_narrow_at_rest_does_not_keep_a_level_from_being_in_force() -> None:
    run = slots(8.0, load=2.0)
    assert run.go_on() is Outcome.FINISHED
    assert run.of(r.LevelVerified)[0].readings[0].value == 8.0


def test_a_link_that_is_narrow_under_load_voids_the_pass_and_holds_the_rig() -> None:
    run = slots(8.0)
    assert run.go_on() is Outcome.HELD
    (judged,) = run.of(r.PassJudged)
    assert (judged.verdict.value, judged.fault) == ("void", "level-under-load")
    assert run.of(r.PassEnded)[0].expects[0].best == 8.0
    assert run.of(r.RigHeld)[0].fault == "level-under-load"


def test_a_link_as_the_level_expects_is_kept() -> None:
    assert slots(16.0).go_on() is Outcome.FINISHED
