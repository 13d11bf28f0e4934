"""The made traces s03 and s04, with their verdicts; the rest by design, no source outside it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from harness.plan.document import Bound
from harness.rig.crossings import ExpectNotMet
from harness.rig.readings import Reading, Sample
from harness.rules.under_load import ExpectWatch, under_load
from tests.rules.strategies import bound

CASES = Path(__file__).parents[1] / "golden" / "sensors"
GENERATION = bound("gpu.link.generation", unit="", at_least=4.0)
WIDTH = bound("gpu.link.width", unit="", equals=16.0)


def taken(at_s: float, *, load: float | None, generation: float | None, width: float) -> Sample:
    readings = [
        Reading(name="gpu.link.width", unit="", value=width),
        Reading(name="gpu.link.generation", unit="", value=generation)
        if generation is not None
        else Reading(name="gpu.link.generation", unit="", why="no answer"),
        Reading(name="gpu.load", unit="%", value=load)
        if load is not None
        else Reading(name="gpu.load", unit="%", why="no answer"),
    ]
    return Sample(at_s=at_s, end_s=at_s, readings={each.name: each for each in readings})


def judged(samples: list[Sample], *expects: Bound) -> tuple[ExpectNotMet, ...]:
    watch = ExpectWatch(expects)
    for each in samples:
        watch.feed(each)
    return watch.not_met()


def case(name: str) -> list[Sample]:
    with (CASES / name).open(encoding="utf-8") as file:
        return [
            taken(
                float(row["t_s"]),
                load=float(row["load_pct"]),
                generation=float(row["link_gen"]),
                width=float(row["link_width"]),
            )
            for row in csv.DictReader(file)
        ]


def test_a_link_that_is_slow_at_rest_and_fast_under_load_is_as_expected() -> None:
    assert judged(case("s03_link_idle_then_load.csv"), GENERATION, WIDTH) == ()


def test_a_link_of_half_the_width_is_not_as_expected() -> None:
    # Its reported maximum is not asked: 8 of 8 would agree with itself.
    assert judged(case("s04_link_half_width.csv"), GENERATION, WIDTH) == (
        ExpectNotMet(reading="gpu.link.width", bound="16", best=8.0, unit="", samples=2, why=None),
    )


def test_a_level_that_expects_half_the_width_is_met_by_it() -> None:
    half = bound("gpu.link.width", unit="", equals=8.0)
    assert judged(case("s04_link_half_width.csv"), half) == ()
    assert len(judged(case("s03_link_idle_then_load.csv"), half)) == 1


def test_a_link_stuck_at_the_first_generation_under_load_is_not_as_expected() -> None:
    stuck = [taken(n, load=100.0, generation=1.0, width=16.0) for n in range(5)]
    (found,) = judged(stuck, GENERATION, WIDTH)
    assert (found.reading, found.best, found.bound) == ("gpu.link.generation", 1.0, "at least 4")


def test_a_pass_in_which_the_card_was_never_at_work_is_not_judged() -> None:
    assert (
        judged([taken(n, load=3.0, generation=1.0, width=16.0) for n in range(5)], GENERATION) == ()
    )


def test_without_a_reading_of_the_load_the_best_of_the_whole_pass_counts() -> None:
    rising = [taken(n, load=None, generation=float(1 + n), width=16.0) for n in range(4)]
    assert judged(rising, GENERATION) == ()
    assert len(judged(rising[:3], GENERATION)) == 1


def test_a_link_that_is_not_measured_under_load_is_not_as_expected() -> None:
    (found,) = judged([taken(0, load=99.0, generation=None, width=16.0)], GENERATION)
    assert (found.best, found.why, found.samples) == (None, "no answer", 0)


def test_what_was_read_before_the_load_was_known_does_not_count() -> None:
    early = taken(0, load=None, generation=4.0, width=16.0)
    later = [taken(n, load=99.0, generation=3.0, width=16.0) for n in (1, 2)]
    assert len(judged([early, *later], GENERATION)) == 1


@pytest.mark.parametrize("reading", ["memory.speed", "gpu.power.limit", "disks"])
def test_other_expectations_are_not_left_to_the_pass(reading: str) -> None:
    assert under_load((bound(reading, unit="", equals=1.0), WIDTH)) == (WIDTH,)
