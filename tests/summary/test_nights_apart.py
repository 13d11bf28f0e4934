"""Several nights in one run: what they do to an interval, and the night as unit."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from harness.plan.document import By, Order
from harness.summary.comparison import Asked, compare
from harness.summary.evidence import Evidence, Unit
from harness.summary.independent import Value, weighed
from harness.summary.margins import CONFIDENCE, interval
from harness.summary.matching import match
from harness.summary.nights_apart import nights_apart
from harness.summary.sides import SideCell, side_cells
from tests.summary.comparing import plan, side
from tests.summary.over_nights import FHD, UHD, entries
from tests.summary.over_nights import plan as two_cells

#: Both ways in blocks of their own, or in the rounds of one block.
IN_BLOCKS = plan(order=Order(rounds_within="way"))
IN_ROUNDS = plan()


def values(by_night: dict[int, list[float]], *, run: str = "two-ways-1") -> list[Value]:
    return [
        Value(run=run, stay=1, round=10 * night + n, log=log, night=night)
        for night, logs in by_night.items()
        for n, log in enumerate(logs)
    ]


def evidence(
    base: dict[int, list[float]],
    against: dict[int, list[float]],
    *,
    blocks: bool = False,
    by_night: bool = False,
) -> tuple[Evidence, list[str], list[str]]:
    of = IN_BLOCKS if blocks else IN_ROUNDS
    sides = [side(way, [1.0], of=of) for way in ("stock", "quiet")]
    flags: list[str] = []
    notes: list[str] = []
    found, _ = weighed(
        sides[0], sides[1], [values(base), values(against)], flags, notes, by_night=by_night
    )
    return found, flags, notes


def test_the_f_test_is_that_of_scipy() -> None:
    nights = {("r", 1): [6.9, 5.4, 5.8], ("r", 2): [8.3, 6.8, 7.8], ("r", 3): [8.0, 10.5, 8.1]}
    found = nights_apart([nights])

    assert found is not None
    assert found.nights == 3
    assert found.p == pytest.approx(stats.f_oneway(*nights.values()).pvalue)


def test_of_two_sides_only_what_lies_between_nights_of_one_side_counts() -> None:
    # The sides are far apart, and the nights of each are alike: no effect stands for a night.
    sides = [
        {("r", night): [level, level + 0.01, level - 0.01] for night in (1, 2)}
        for level in (4.0, 5.0)
    ]
    found = nights_apart(sides)
    assert found is not None
    assert found.p == pytest.approx(1.0)


def test_one_night_says_nothing() -> None:
    assert nights_apart([{("r", 1): [1.0, 2.0]}, {("r", 2): [1.0, 2.0]}]) is None
    assert evidence({1: [0.0, 0.1]}, {1: [0.2, 0.3]})[1:] == ([], [])


def test_sides_of_different_nights_say_so() -> None:
    _, flags, _ = evidence({1: [0.0, 0.1]}, {2: [0.2, 0.3]}, blocks=True)
    assert "different nights" in flags


def coverage(
    *, blocks: bool, by_night: bool, night_sd: float, turned: float = 0.0
) -> tuple[float, float]:
    """Return how often the 95 % interval holds the margin, and how often nights are flagged.

    Six nights of four passes a side with a spread of 1 between passes; *turned* is what a night
    does to one side alone.
    """
    chance = np.random.default_rng(7)
    held = told = 0
    tries = 600
    for _ in range(tries):
        common = chance.normal(0.0, night_sd, 12)
        own = chance.normal(0.0, turned, 12) if turned else np.zeros(12)
        noise = chance.normal(0.0, 1.0, (2, 6, 4))
        later = 6 if blocks else 0  # blocks: the other side has nights of its own
        base = {n: [*(common[n] + noise[0, n])] for n in range(6)}
        against = {n + later: [*(common[n + later] + own[n] + noise[1, n])] for n in range(6)}
        found, flags, _ = evidence(base, against, blocks=blocks, by_night=by_night)
        ends = interval(found, confidence=CONFIDENCE)
        assert ends is not None
        held += ends[0] <= 0.0 <= ends[1]
        told += "nights lie apart" in flags
    return held / tries, told / tries


#: Three standard errors of a share near 95 % in 600 tries.
ERROR = 3.0 * math.sqrt(0.95 * 0.05 / 600)


def test_where_nights_move_the_pass_as_unit_is_too_narrow_and_the_row_is_flagged() -> None:
    held, told = coverage(blocks=True, by_night=False, night_sd=1.0)
    assert held < 0.80  # about 67 %: said, not mended in silence
    assert told > 0.90


def test_the_night_as_unit_keeps_the_promise_where_nights_move_and_where_they_do_not() -> None:
    for night_sd in (0.0, 1.0, 3.0):
        held, _ = coverage(blocks=True, by_night=True, night_sd=night_sd)
        assert held == pytest.approx(0.95, abs=ERROR)


def test_rounds_lose_what_is_common_to_a_night() -> None:
    held, told = coverage(blocks=False, by_night=False, night_sd=3.0)
    assert held == pytest.approx(0.95, abs=ERROR)
    assert told == pytest.approx(0.05, abs=ERROR)


def test_rounds_do_not_lose_what_a_night_does_to_one_side_alone() -> None:
    held, told = coverage(blocks=False, by_night=False, night_sd=0.0, turned=2.0)
    assert held < 0.85
    assert told > 0.90
    held, _ = coverage(blocks=False, by_night=True, night_sd=0.0, turned=2.0)
    assert held == pytest.approx(0.95, abs=ERROR)


def test_nights_that_have_both_sides_are_pairs_and_the_others_are_named() -> None:
    found, _, notes = evidence(
        {1: [0.0, 0.2], 2: [1.0, 1.2], 3: [5.0]}, {1: [0.5], 2: [1.7]}, by_night=True
    )
    assert (found.unit, found.paired, found.n) == (Unit.NIGHT, True, (2, 2))
    assert found.log_ratio == pytest.approx((0.4 + 0.6) / 2)
    assert notes == ["left out, since it has one side only: night 3 of run two-ways-1"]


def test_one_night_a_side_has_no_interval_by_night() -> None:
    found, flags, _ = evidence({1: [0.0, 0.2]}, {1: [0.5, 0.6]}, by_night=True)
    assert found.se is None
    assert "one night on a side" in flags


def test_a_visit_stays_the_unit_where_a_person_changed_the_hardware() -> None:
    of = plan(by=By.OPERATOR)
    visits = {1: {"way": 1}, 2: {"way": 3}}
    sides = [side(way, [1.0], of=of, visits=visits) for way in ("stock", "quiet")]
    own = [Value(run="two-ways-1", stay=stay, round=1, log=0.0, night=stay) for stay in (1, 2)]
    notes: list[str] = []
    found, _ = weighed(sides[0], sides[1], [own, own], [], notes, by_night=True)
    assert found.unit is Unit.VISIT
    assert notes == ["the visit stays the unit, since a person changed the hardware"]


def test_a_pause_of_more_than_six_hours_begins_a_night() -> None:
    made = entries([(FHD, 60.0, False), (UHD, 50.0, False), (FHD, 61.0, False)])
    pause = timedelta(hours=7)
    late = [e.__class__(seq=e.seq, at=e.at + pause, boot=e.boot, record=e.record)
            for e in made[-5:]]  # fmt: skip
    cells = side_cells([*made[:-5], *late], plan=two_cells())
    assert [[each.night for each in cell.kept] for cell in cells] == [[1, 2], [1]]


def test_compare_takes_the_night_where_it_is_declared() -> None:
    def cell(way: str, level: float) -> SideCell:
        one = side(way, [level, level * 1.01, level * 1.1, level * 1.11])
        passes = [p.__class__(attempt=p.attempt, stay=p.stay, round=p.round, figures=p.figures,
                              readings=p.readings, marks=p.marks, night=1 + (p.attempt > 2))
                  for p in one.kept]  # fmt: skip
        return SideCell(
            run=one.run, rig=one.rig, plan=one.plan, cell=one.cell, group=1, current=True,
            state=one.state, kept=tuple(passes), procedure=one.procedure,
            fingerprint=one.fingerprint, visits=one.visits,
        )  # fmt: skip

    matched = match(
        [cell("stock", 100.0), cell("quiet", 105.0)],
        base={"way": ("stock",)}, against={"way": ("quiet",)}, where={},
    )  # fmt: skip
    [by_round] = compare(matched, asked=Asked(weights={})).rows
    [by_night] = compare(matched, asked=Asked(weights={}, by_night=True)).rows

    assert by_round.row.evidence.unit is Unit.ROUND
    assert by_round.row.notes[0].startswith("measured in 2 nights")
    assert (by_night.row.evidence.unit, by_night.row.evidence.n) == (Unit.NIGHT, (2, 2))
    assert by_night.margin.margin == pytest.approx(0.05)
