"""Warm-up until steady, and preload: what a run does, over the rehearsed bench."""

from __future__ import annotations

from harness.plan import document as d
from harness.rig.thermal import Thermal
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.closing import close
from harness.run.instructions import Outcome
from harness.run.warming import MOST_PRELOADS
from tests.run.rehearsal import Rehearsal, plan

GPU = "gpu.temperature"


def until_steady(at_most: int = 5, *, keep: int = 2) -> d.Passes:
    return d.Passes(warm_up=d.WarmUp(within=0.01, at_most=at_most), keep=keep, at_most=4)


def warm_ups(run: Rehearsal) -> list[bool]:
    return [started.warm_up for started in run.of(r.PassStarted)]


def test_warm_up_goes_on_until_two_passes_in_a_row_agree() -> None:
    run = Rehearsal(plan(passes=until_steady()), [60.0, 90.0, 99.5, 100.0, 100.0, 100.0])
    assert run.go_on() is Outcome.FINISHED
    assert warm_ups(run) == [True, True, True, True, False, False]
    (warm,) = run.of(r.CellWarmedUp)
    assert (warm.steady, warm.passes, warm.on) == (True, 4, "average_fps")
    assert run.of(r.PassStarted)[-1].marks == ()


def test_a_title_that_never_gets_steady_goes_on_marked() -> None:
    run = Rehearsal(plan(passes=until_steady(3)), [60.0, 90.0, 120.0, 100.0, 100.0])
    assert run.go_on() is Outcome.FINISHED
    assert warm_ups(run) == [True, True, True, False, False]
    (warm,) = run.of(r.CellWarmedUp)
    assert not warm.steady
    counted = run.of(r.PassJudged)[-1]
    assert counted.verdict.value == "kept"
    assert counted.marks == (
        "unsteady: average_fps of the last two of 3 warm-up passes differ by 33.3 %, 1 % allowed",
    )
    assert run.of(r.CellClosed)[0].state is r.CellState.ACCEPTED


def test_a_void_warm_up_pass_agrees_with_nothing_and_counts() -> None:
    run = Rehearsal(plan(passes=until_steady(3)), [100.0, "no capture", 100.0, 100.0, 100.0, 100.0])
    run.go_on()
    (warm,) = run.of(r.CellWarmedUp)
    assert (warm.steady, warm.passes, warm.difference) == (False, 3, None)


def test_a_new_runner_warms_up_anew_and_the_mark_is_gone_if_it_gets_steady() -> None:
    run = Rehearsal(plan(passes=until_steady(2)), [60.0, 100.0, 100.0])
    run.go_on(stop=run.after(3, r.PassJudged))
    run.model.deeds = [100.0, 100.0, 100.0]
    assert run.go_on() is Outcome.FINISHED
    assert [warm.steady for warm in run.of(r.CellWarmedUp)] == [False, True]
    marked = [bool(started.marks) for started in run.of(r.PassStarted) if not started.warm_up]
    assert marked == [True, False]


def test_a_runner_that_is_gone_in_the_warm_up_leaves_no_half_count() -> None:
    run = Rehearsal(plan(passes=until_steady()), [100.0])
    run.go_on(stop=run.after(1, r.PassJudged))
    assert run.folded() == run.loop.state


# --- preload -------------------------------------------------------------------------------


def banded(
    *, then: d.Then = d.Then.MARK, give_up_s: float = 900.0, low: float = 55.0, high: float = 65.0
) -> d.Gate:
    return d.Gate(
        bound=d.Bound(reading=GPU, unit="°C", at_least=low, at_most=high),
        for_s=2.0,
        give_up_s=give_up_s,
        then=then,
        preload=True,
    )


def rig(gate: d.Gate, *, hot_c: float = 80.0, warm_up: int = 0, keep: int = 2) -> Rehearsal:
    run = Rehearsal(plan(keep=keep, at_most=keep + 1, warm_up=warm_up, gates=(gate,)))
    run.model.parts = {GPU: Thermal(room_c=22.0, hot_c=hot_c, tau_s=20.0)}
    return run


def preloads(run: Rehearsal) -> list[bool]:
    return [started.preload for started in run.of(r.PassStarted)]


def test_a_cold_rig_runs_the_title_until_the_part_is_in_the_band() -> None:
    run = rig(banded())
    assert run.go_on() is Outcome.FINISHED
    counted = [started for started in run.of(r.PassStarted) if not started.preload]
    assert len(counted) == 2
    assert any(preloads(run))
    for started in counted:
        (reading,) = [each for each in started.readings if each.name == GPU]
        assert isinstance(reading.value, float)
        assert 55.0 <= reading.value <= 65.0
        assert started.marks == ()


def test_a_preload_pass_counts_as_no_pass_and_as_no_warm_up() -> None:
    run = rig(banded())
    run.go_on()
    (closed,) = run.of(r.CellClosed)
    assert closed.state is r.CellState.ACCEPTED
    assert len(closed.kept) == 2
    assert all(s.warm_up for s in run.of(r.PassStarted) if s.preload)


def test_a_warm_up_pass_that_is_due_warms_the_part_as_well() -> None:
    run = rig(banded(), warm_up=1)
    run.go_on()
    first = run.of(r.PassStarted)[0]
    assert (first.warm_up, first.preload) == (True, False)


def test_a_part_that_cannot_be_warmed_up_ends_the_preloading() -> None:
    run = rig(banded(), hot_c=50.0, keep=1)
    assert run.go_on() is Outcome.FINISHED
    assert sum(preloads(run)) == MOST_PRELOADS
    last = run.of(r.PassStarted)[-1]
    assert not last.preload
    assert last.gate is not None
    assert last.marks[0].startswith("gate-gave-up: gpu.temperature")


def test_preloading_takes_no_longer_than_the_patience_of_its_gate() -> None:
    run = rig(banded(give_up_s=20.0, then=d.Then.SKIP), hot_c=50.0, keep=1)
    run.go_on()
    assert run.of(r.PassSkipped)
    first = run.records.index(run.of(r.PassSkipped)[0])
    before = [s for s in run.records[:first] if isinstance(s, r.PassStarted)]
    assert 0 < len(before) < MOST_PRELOADS


def test_a_preload_that_cannot_help_holds_the_rig_where_the_plan_says_so() -> None:
    run = rig(banded(give_up_s=60.0, then=d.Then.HOLD), hot_c=50.0)
    assert run.go_on() is Outcome.HELD
    (hold,) = run.of(r.RigHeld)
    assert hold.gate is not None
    assert hold.gate.reading == GPU


def test_a_limit_is_watched_in_a_preload_pass() -> None:
    run = Rehearsal(
        plan(
            gates=(banded(low=85.0, high=88.0),),
            limits=(d.Limit(bound=d.Bound(reading=GPU, unit="°C", at_most=75.0)),),
        )
    )
    run.model.parts = {GPU: Thermal(room_c=22.0, hot_c=80.0, tau_s=5.0)}
    assert run.go_on() is Outcome.HELD
    assert run.of(r.PassStarted)[0].preload
    assert run.of(r.RigHeld)[0].fault == "limit"


def test_a_preload_that_fails_again_and_again_closes_the_cell() -> None:
    run = rig(banded())
    run.model.deeds = ["exits 3"] * 99
    run.go_on()
    assert run.of(r.CellClosed)[0].state is r.CellState.FAILED
    assert all(preloads(run))


# --- out of reach ---------------------------------------------------------------------------


def test_a_warm_room_ends_the_wait_early_and_the_floor_is_on_record() -> None:
    cool = d.Gate(
        bound=d.Bound(reading=GPU, unit="°C", at_most=30.0),
        for_s=10.0,
        give_up_s=900.0,
        then=d.Then.MARK,
    )
    run = Rehearsal(plan(keep=1, gates=(cool,)))
    run.model.parts = {GPU: Thermal(room_c=38.0, hot_c=80.0, tau_s=60.0)}
    run.bench.temperatures[GPU] = 80.0
    run.go_on()
    (started,) = run.of(r.PassStarted)
    assert started.gate is not None
    assert started.gate.floor is not None
    assert started.waited_s < 600.0
    assert started.gate.floor.low_c <= 38.0 <= started.gate.floor.high_c
    assert "foretold 38.0 °C at best" in started.marks[0]


def test_a_warm_up_that_fails_after_every_start_closes_its_cell_at_last() -> None:
    # Found by a simulated night (seed 3387): the first warm-up pass went well after every start,
    # the second failed and held the rig, and a release began both again, for ever.
    held = d.Faults(again=0, then=d.FaultThen.HOLD)
    run = Rehearsal(plan(passes=until_steady(3, keep=1), faults=held))
    for start in range(1, 5):
        run.model.deeds = [100.0, "exits 3"]
        assert run.go_on() is Outcome.HELD, f"start {start}"
        run.release()
    run.model.deeds = []
    assert run.go_on() is Outcome.FINISHED
    closed = run.of(r.CellClosed)[0]
    assert (closed.state, closed.reason) == (r.CellState.FAILED, "4 warm-up passes failed")


def test_failed_warm_up_passes_are_counted_anew_after_a_counted_pass() -> None:
    run = Rehearsal(plan(passes=until_steady(), faults=d.Faults(again=9)))
    run.model.deeds = ["exits 3", "exits 3", 100.0, 100.0, 100.0, 100.0]
    run.go_on(stop=run.after(5, r.PassJudged))
    progress = next(iter(run.folded().progress.values()))
    assert progress.warm_up_faults == 0


def test_a_warm_up_pass_that_went_well_closes_no_cell_however_many_failed_before() -> None:
    # So many may stand in a run that an older harness began, which counted them anew.
    run = Rehearsal(plan(passes=until_steady()))
    state = run.folded()
    (cell,) = state.progress
    state.progress[cell].warm_up_faults = 9
    after = {
        verdict: close(state, cell, 10, warm_up=True, verdict=verdict, figures=())
        for verdict in (Verdict.KEPT, Verdict.VOID, Verdict.INTERRUPTED, Verdict.FAILED)
    }
    assert [len(records) for records in after.values()] == [0, 0, 0, 1]
