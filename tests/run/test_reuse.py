"""Earlier cells instead of measuring again: when they are taken, and when not."""

from __future__ import annotations

from typing import Any

from harness.plan import document as d
from harness.plan.cells import cells
from harness.run import records as r
from harness.run.instructions import Outcome
from tests.run.rehearsal import Rehearsal, plan

REUSE = d.Reuse(within_s=86_400.0, same=("gpu.driver",))
CHECKED = d.Reuse(within_s=86_400.0, same=("gpu.driver",), check_reference=True)
REFERENCE = d.Reference(title="Title 1", scene="loop", setting="fhd")
USUAL = r.Usual(figure="average_fps", low=95.0, high=105.0, values=20)


def offer(asked: d.Plan, place: int = 0, **changed: Any) -> r.Offer:
    what: dict[str, Any] = {
        "cell": cells(asked)[place].key,
        "run": "earlier-1",
        "group": 1,
        "kept": (1, 2, 3),
        "measured_at": "2026-11-20T22:00:00+00:00",
        "fields": (("gpu.driver", "560.70"),),
    }
    return r.Offer(**(what | changed))


def night(asked: d.Plan, *offers: r.Offer, driver: str = "560.70", **more: Any) -> Rehearsal:
    played = Rehearsal(asked, **more)
    played.bench.fields["gpu.driver"] = driver
    assert played.go_on(offers=offers) is Outcome.FINISHED
    return played


def test_an_offered_cell_is_taken_and_not_measured() -> None:
    asked = plan(titles=2, keep=1, reuse=REUSE)
    played = night(asked, offer(asked))

    assert [x.cell for x in played.of(r.CellReused)] == [cells(asked)[0].key]
    assert {s.cell for s in played.of(r.PassStarted)} == {cells(asked)[1].key}


def test_a_reused_cell_is_accepted_in_the_count_of_the_run() -> None:
    asked = plan(titles=2, keep=1, reuse=REUSE)

    (finished,) = night(asked, offer(asked)).of(r.RunFinished)

    assert finished.accepted == 2


def test_another_driver_means_measuring_again_and_the_reason_is_on_record() -> None:
    asked = plan(titles=1, keep=1, reuse=REUSE)
    played = night(asked, offer(asked), driver="561.00")
    (offered,) = played.of(r.ReuseOffered)

    assert not played.of(r.CellReused)
    assert "gpu.driver was '560.70', is '561.00'" in offered.refused[0][1]


def test_a_field_that_was_not_read_then_is_no_agreement() -> None:
    asked = plan(titles=1, keep=1, reuse=REUSE)
    played = night(asked, offer(asked, fields=(), missing=("gpu.driver",)))
    (offered,) = played.of(r.ReuseOffered)

    assert "gpu.driver was not read then" in offered.refused[0][1]


def test_where_the_plan_asks_the_first_reference_pass_decides() -> None:
    asked = plan(titles=2, keep=1, reuse=CHECKED, reference=REFERENCE)
    played = night(asked, offer(asked, usual=USUAL))
    kinds = [type(x) for x in played.records]

    assert played.of(r.CellReused)
    assert kinds.index(r.PassJudged) < kinds.index(r.CellReused)


def test_a_reference_pass_off_its_usual_values_turns_every_offer_down() -> None:
    asked = plan(titles=2, keep=1, reuse=CHECKED, reference=REFERENCE)
    played = night(asked, offer(asked, usual=USUAL), deeds=[80.0])
    (down,) = played.of(r.ReuseTurnedDown)

    assert not played.of(r.CellReused)
    assert "gives average_fps 80" in down.reason
    assert {s.cell for s in played.of(r.PassStarted)} == {cell.key for cell in cells(asked)}


def test_without_a_history_of_the_reference_cell_nothing_is_taken() -> None:
    asked = plan(titles=2, keep=1, reuse=CHECKED, reference=REFERENCE)
    (down,) = night(asked, offer(asked)).of(r.ReuseTurnedDown)

    assert "no history" in down.reason


def test_a_reference_cell_that_gives_no_kept_pass_takes_nothing() -> None:
    asked = plan(titles=2, keep=1, reuse=CHECKED, reference=REFERENCE, faults=d.Faults(again=0))
    played = night(asked, offer(asked, usual=USUAL), deeds=["exits 3"])
    (down,) = played.of(r.ReuseTurnedDown)

    assert down.reason == "no reference pass was kept"
    assert not played.of(r.CellReused)


def test_offers_after_the_first_group_change_nothing() -> None:
    asked = plan(titles=1, keep=2, reuse=REUSE)
    played = Rehearsal(asked)
    played.bench.fields["gpu.driver"] = "560.70"
    played.go_on(stop=played.after(1, r.PassJudged))
    played.go_on(offers=(offer(asked),))

    assert not played.of(r.ReuseOffered)
