"""Which earlier passes are of the same cells, and what they say."""

from __future__ import annotations

import pytest

from harness.plan.canonical import freeze, plan_hash
from harness.plan.cells import cells
from harness.plan.document import Plan
from harness.store.seen import PassSeen
from harness.summary.earlier import Earlier, earlier
from tests.plan.words import changed, checked

SCENE = ("Lantern Quay", "harbour loop")
PLAN = checked(changed()).accepted()
(CELL,) = cells(PLAN)


def passed(seconds: float | None = 70.0, *, fps: float | None = None, group: int = 1) -> PassSeen:
    return PassSeen(
        cell=CELL.key,
        group=(group, 0),
        seconds=seconds,
        kept=fps is not None,
        figures=(("average_fps", fps),) if fps is not None else (),
    )


def said(plan: Plan, *passes: PassSeen) -> Earlier:
    return earlier(PLAN, [(plan_hash(plan), freeze(plan), lambda: passes)])


def test_the_time_of_a_cell_is_the_mean_of_its_passes() -> None:
    found = said(PLAN, passed(60.0), passed(80.0), passed(None))

    assert (found.passes, found.lengths) == (2, {SCENE: (70.0,)})


def test_a_cell_of_another_plan_counts_where_its_procedure_is_the_same() -> None:
    other = checked(changed(("plan: night-1", "plan: night-2"), ("keep: 3", "keep: 4"))).accepted()

    assert said(other, passed()).passes == 1


@pytest.mark.parametrize(
    "change",
    [
        ("size: 2560x1440", "size: 1920x1080"),
        ("length: 60 s", "length: 20 s"),
        ("command: [", "command: [nice, "),
        ("scene: harbour loop", "scene: breakwater"),
    ],
    ids=["a setting's value", "the cut", "the command", "the scene"],
)
def test_what_was_measured_otherwise_says_nothing(change: tuple[str, str]) -> None:
    found = said(checked(changed(change)).accepted(), passed(fps=100.0), passed(fps=101.0))

    assert (found.passes, found.lengths, found.spreads) == (0, {}, {})


def test_a_plan_that_another_version_kept_says_nothing() -> None:
    found = earlier(PLAN, [("9f", '{"of": "another version"}', lambda: [passed()])])

    assert found.passes == 0


def test_passes_of_two_groups_do_not_spread_over_each_other() -> None:
    apart = [passed(fps=fps, group=1) for fps in (100.0, 101.0)]
    apart += [passed(fps=fps, group=2) for fps in (200.0, 202.0)]

    spread = said(PLAN, *apart).spreads[SCENE]

    assert (spread.df, spread.cells) == (2, 2)
    assert spread.sd == pytest.approx(0.00704, rel=1e-2)  # one per cent apart, over the root of 2


def test_a_spread_is_of_kept_passes_only() -> None:
    assert said(PLAN, passed(), passed()).spreads == {}
