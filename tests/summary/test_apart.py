from __future__ import annotations

from dataclasses import replace

from harness.plan.document import Plan
from harness.summary.apart import REFERENCES_APART, Apart, references_apart
from harness.summary.cells import summarise
from harness.summary.passes import gather
from tests.summary.over_nights import FHD, UHD, Step, counted, entries, plan, references


def apart(steps: list[Step], *, of: Plan | None = None) -> tuple[Apart, ...]:
    asked = of or plan()
    run = gather(entry.record for entry in entries(steps, of=asked))
    return references_apart(run, plan=asked)


def test_cells_between_two_references_that_disagree_are_found() -> None:
    [found] = apart([*references([100.0]), *counted([60.0, 60.1]), *references([96.0])])

    assert (found.cell, found.attempts, found.values) == (FHD, (1, 2), (100.0, 96.0))
    assert found.share == -0.04
    assert found.places == ((UHD, 1),)


def test_references_within_the_plans_band_agree() -> None:
    steps = [*references([100.0]), *counted([60.0]), *references([97.5])]

    assert apart(steps) == ()
    assert len(apart(steps, of=plan(band=0.02))) == 1


def test_eight_references_say_what_is_usual_and_a_smaller_step_is_found() -> None:
    quiet = [100.0, 100.1, 99.9, 100.0, 100.1, 99.9, 100.0, 100.1, 99.9]
    [found] = apart([*references(quiet), *counted([60.0]), *references([98.8])])

    assert found.attempts == (9, 10)
    assert found.allowed < 0.03


def test_half_a_per_cent_is_never_a_disagreement() -> None:
    still = [100.0] * 10

    assert apart([*references(still), *counted([60.0]), *references([99.6])]) == ()


def test_only_what_was_measured_in_between_is_named() -> None:
    steps = [
        *counted([60.0]),
        *references([100.0]),
        *counted([90.0], cell=FHD),
        *references([96.0, 96.1]),
        *counted([60.0]),
    ]
    [found] = apart(steps)

    assert found.places == ((FHD, 1),)


def test_a_plan_without_a_reference_cell_has_nothing_to_disagree() -> None:
    steps = [*references([100.0]), *references([90.0])]

    assert apart(steps, of=replace(plan(), reference=None)) == ()


def test_the_cell_carries_a_flag_in_the_results() -> None:
    moved = entries([*references([100.0]), *counted([60.0, 60.1]), *references([96.0])])
    still = entries([*references([100.0]), *counted([60.0, 60.1]), *references([100.1])])

    flags = [
        next(each.flags for each in summarise(run, plan=plan()) if each.cell.key == UHD)
        for run in (moved, still)
    ]
    assert REFERENCES_APART in flags[0]
    assert REFERENCES_APART not in flags[1]
