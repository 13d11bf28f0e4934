"""A number of passes that is fixed before they are measured."""

from __future__ import annotations

from harness.plan import document as d
from harness.run import records as r
from harness.run.instructions import Outcome
from harness.run.sizing import sized_by_history
from tests.run.rehearsal import Rehearsal, plan

#: Half of it is 1 %: t(0.975, 2) is 4.303 (any table of Student's t).
ENOUGH = d.Enough(half_width=0.01)


def played(deeds: list[float | str], *, at_most: int = 20, **parts: object) -> Rehearsal:
    night = Rehearsal(
        plan(keep=3, at_most=at_most, enough=ENOUGH, **parts),  # type: ignore[arg-type]
        deeds=deeds,
    )
    assert night.go_on() is Outcome.FINISHED
    return night


def test_the_first_kept_passes_fix_the_number() -> None:
    # A spread of 0.5 % and t = 4.303: (4.303 * 0.5 / 1)^2 = 4.6, so five passes.
    night = played([99.5, 100.0, 100.5])
    (sized,) = night.of(r.CellSized)
    (closed,) = night.of(r.CellClosed)

    assert (sized.passes, sized.pilot) == (5, (1, 2, 3))
    assert closed.kept == (1, 2, 3, 4, 5)


def test_a_pilot_that_is_narrow_enough_asks_for_no_more() -> None:
    (closed,) = played([100.0, 100.05, 100.1]).of(r.CellClosed)

    assert closed.kept == (1, 2, 3)


def test_it_is_fixed_once_whatever_comes_after() -> None:
    night = played([99.5, 100.0, 100.5, 130.0, 70.0])

    assert len(night.of(r.CellSized)) == 1
    assert len(night.of(r.CellClosed)[0].kept) == 5


def test_it_never_asks_for_more_than_at_most() -> None:
    (sized,) = played([90.0, 100.0, 110.0], at_most=6).of(r.CellSized)

    assert sized.passes == 6
    assert "at_most is 6" in sized.reason


def test_a_cell_that_runs_out_of_passes_with_enough_kept_is_accepted() -> None:
    night = played([90.0, 100.0, 110.0, "no capture", 100.0, 100.0], at_most=6)
    (closed,) = night.of(r.CellClosed)

    assert closed.state is r.CellState.ACCEPTED
    assert "5 kept, 6 wanted" in closed.reason


def test_a_mark_of_a_pilot_is_not_kept_since_the_rules_are_asked_again_of_all() -> None:
    # Two equal passes condemn the third; among twelve it is nothing to speak of.
    rule = d.DiscardRule(rule="grubbs", on="average_fps", alpha=0.05)
    near = [99.5, 100.5] * 10
    night = played([100.0, 100.01, 101.0, *near], at_most=30, discard=(rule,))
    (sized,) = night.of(r.CellSized)

    assert sized.passes > 3
    assert night.of(r.PassDiscarded) == []


def test_a_mark_of_a_pilot_that_asks_for_no_more_is_kept() -> None:
    rule = d.DiscardRule(rule="grubbs", on="average_fps", alpha=0.05, floor=0.0)
    night = played([100.0, 100.0001, 100.1], discard=(rule,))

    assert [each.discarded for each in night.of(r.PassDiscarded)] == [False]


def test_the_rules_are_asked_where_the_passes_are_used_up_before_enough_are_kept() -> None:
    rule = d.DiscardRule(rule="spread", on="average_fps", more_than=0.05)
    night = played([98.0, 100.0, 102.0, 100.0, "no capture", 130.0], at_most=6, discard=(rule,))
    (closed,) = night.of(r.CellClosed)

    assert [each.attempt for each in night.of(r.PassDiscarded)] == [6]
    assert closed.kept == (1, 2, 3, 4)
    assert closed.state is r.CellState.ACCEPTED


def test_a_new_group_takes_a_pilot_of_its_own() -> None:
    night = Rehearsal(plan(keep=3, at_most=20, enough=ENOUGH), deeds=[99.5, 100.0, 100.5])
    night.bench.fields["gpu.driver"] = "1"
    night.go_on(stop=night.after(4, r.PassJudged))
    night.bench.fields["gpu.driver"] = "2"
    assert night.go_on() is Outcome.HELD
    night.release()
    night.go_on()

    assert [sized.pilot for sized in night.of(r.CellSized)] == [(1, 2, 3), (5, 6, 7)]


def test_what_earlier_runs_say_is_fixed_before_the_first_pass() -> None:
    asked = plan(keep=3, at_most=20, enough=d.Enough(half_width=0.01, source=d.EnoughFrom.HISTORY))
    sized = sized_by_history(asked, asked.titles[0], "cell", sd=0.01, df=40)

    assert sized is not None
    assert sized.passes > 5
    assert sized.pilot == ()


def test_too_little_history_leaves_it_to_the_first_passes() -> None:
    asked = plan(keep=3, at_most=20, enough=d.Enough(half_width=0.01, source=d.EnoughFrom.HISTORY))

    assert sized_by_history(asked, asked.titles[0], "cell", sd=0.01, df=3) is None
