"""Which earlier cells a plan may take instead of measuring again, and which are stale."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from harness.plan import document as d
from harness.plan.canonical import freeze
from harness.plan.cells import cells
from harness.run import records as r
from harness.summary.reusable import Reusable, reusable
from tests.run.rehearsal import Rehearsal, plan

REUSE = d.Reuse(within_s=30 * 86_400.0, same=("gpu.driver",))
LATER = timedelta(days=2)


def played(asked: d.Plan, **more: object) -> Rehearsal:
    night = Rehearsal(asked, **more)  # type: ignore[arg-type]
    night.bench.fields["gpu.driver"] = "560.70"
    night.go_on()
    return night


def found(
    asked: d.Plan, *nights: Rehearsal, now: datetime | None = None, name: str = "scripted"
) -> Reusable:
    last = max(night.journal.entries()[-1].at for night in nights)
    return reusable(
        asked,
        [(f"run-{n}", name, freeze(x.plan), x.journal.entries) for n, x in enumerate(nights, 1)],
        now=now if now is not None else last + LATER,
    )


def test_an_accepted_cell_of_the_same_procedure_is_offered() -> None:
    asked = plan(titles=1, keep=2, reuse=REUSE)
    (offer,) = found(asked, played(asked)).offers

    assert (offer.run, offer.kept, offer.fields) == ("run-1", (1, 2), (("gpu.driver", "560.70"),))


def test_one_that_is_too_old_is_not() -> None:
    asked = plan(titles=1, keep=1, reuse=REUSE)
    night = played(asked)
    late = night.journal.entries()[-1].at + timedelta(days=31)

    assert found(asked, night, now=late).offers == ()


def test_one_that_was_not_accepted_is_not() -> None:
    asked = plan(titles=1, keep=2, at_most=2, reuse=REUSE)

    assert found(asked, played(asked, deeds=["no capture", 100.0])).offers == ()


def test_one_measured_with_another_command_is_not() -> None:
    asked = plan(titles=1, keep=1, reuse=REUSE)
    command = d.Command(argv=("title", "--other"), time_limit_s=60.0)
    other = replace(asked, titles=(replace(asked.titles[0], command=command),))

    assert found(asked, played(other)).offers == ()


def test_one_that_a_person_has_had_measured_again_is_not() -> None:
    asked = plan(titles=1, keep=1, reuse=REUSE)
    night = played(asked)
    night.ask(r.RequestKind.RERUN, cells=(cells(asked)[0].key,))
    night.go_on(stop=night.after(1, r.CellReopened))

    assert found(asked, night).offers == ()


def test_the_newest_run_is_taken_where_several_have_the_cell() -> None:
    asked = plan(titles=1, keep=1, reuse=REUSE)

    assert found(asked, played(asked), played(asked)).offers[0].run == "run-1"


def test_a_plan_that_extends_another_takes_only_its_cells() -> None:
    asked = plan(titles=1, keep=1, extends="first-cards")

    assert found(asked, played(asked), name="other-cards").offers == ()
    assert len(found(asked, played(asked), name="first-cards").offers) == 1


def test_a_cell_that_the_extended_plan_measures_otherwise_is_stale_and_says_how() -> None:
    asked = plan(titles=2, keep=1, extends="first-cards")
    command = d.Command(argv=("title", "--other"), time_limit_s=60.0)
    other = replace(
        asked, titles=(replace(asked.titles[0], command=command), asked.titles[1]), extends=""
    )
    result = found(asked, played(other), name="first-cards")

    assert [(x.cell.title, x.differs) for x in result.stale] == [("Title 0", ("command",))]
    assert [x.cell for x in result.offers] == [cells(asked)[1].key]


@pytest.mark.parametrize("passes", [3, 8])
def test_the_usual_values_of_the_reference_cell_need_eight_of_them(passes: int) -> None:
    reference = d.Reference(title="Title 0", scene="loop", setting="fhd")
    asked = plan(titles=1, keep=1, reuse=REUSE, reference=reference)
    night = played(replace(asked, order=d.Order(visits=1)))
    nights = [night] * -(-passes // 2)
    (offer,) = found(asked, *nights).offers

    assert (offer.usual is not None) == (passes >= 8)


def test_a_plan_that_speaks_of_no_earlier_work_is_offered_none() -> None:
    asked = plan(titles=1, keep=1)

    assert reusable(asked, [], now=datetime(2026, 11, 25, tzinfo=UTC)) == Reusable()


def test_one_whose_pass_a_rule_has_marked_is_not() -> None:
    rule = d.DiscardRule(rule="grubbs", on="average_fps", alpha=0.05)
    asked = plan(titles=1, keep=5, discard=(rule,), reuse=REUSE)
    night = played(asked, deeds=[100.0, 100.1, 99.9, 140.0, 100.05])

    assert [each.discarded for each in night.of(r.PassDiscarded)] == [False]
    assert found(asked, night).offers == ()


def test_one_with_fewer_passes_than_are_wanted_now_is_not() -> None:
    asked = plan(titles=1, keep=3, reuse=REUSE)

    assert found(asked, played(plan(titles=1, keep=2))).offers == ()
