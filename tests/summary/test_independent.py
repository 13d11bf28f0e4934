"""Several runs on a side: each run is one value, and what is no value of its own is none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from harness.errors import AskedError
from harness.summary.comparison import Asked, Comparison, compare
from harness.summary.evidence import Unit
from harness.summary.margins import Word
from harness.summary.matching import match
from harness.summary.sides import SideCell, side_cells
from tests.summary import over_nights
from tests.summary.comparing import a_pass, plan, several, side, title

STOCK = {"mon": [100.0, 101.0], "tue": [103.0, 104.0, 103.5], "wed": [98.0, 99.0]}
QUIET = {"thu": [110.0, 111.0], "fri": [112.0, 113.0], "sat": [109.0, 108.0]}


def compared(
    *cells: SideCell, base: str, against: str, where: str = "", why: str = ""
) -> Comparison:
    chosen = (
        several(dict([text.split("=", 1)])) if text else {} for text in (base, against, where)
    )
    first, second, both = chosen
    matched = match(cells, base=first, against=second, where=both)
    return compare(matched, asked=Asked(weights={}, despite=why))


def of_runs(way: str, rates: dict[str, list[float]]) -> list[SideCell]:
    return [side(way, values, run=run) for run, values in rates.items()]


def test_several_runs_a_side_are_compared_run_by_run_as_scipy_does() -> None:
    cells = [*of_runs("stock", STOCK), *of_runs("stock", QUIET)]
    [found] = compared(*cells, base="run=mon tue wed", against="run=thu fri sat").rows

    means = [[float(np.log(v).mean()) for v in own.values()] for own in (QUIET, STOCK)]
    expected = stats.ttest_ind(means[0], means[1], equal_var=False)
    assert found.row.evidence.unit is Unit.RUN
    assert found.row.evidence.n == (3, 3)
    assert (found.row.base.n, found.row.against.n) == (7, 6)
    assert found.row.evidence.log_ratio / (found.row.evidence.se or 1.0) == pytest.approx(
        expected.statistic
    )
    assert found.row.evidence.df == pytest.approx(expected.df)


def test_runs_that_have_both_sides_are_pairs() -> None:
    # The rig is 10 % faster in one night, and exactly 5 % lies between the sides in each.
    nights = {"mon": [100.0, 101.0], "tue": [110.0, 111.0], "wed": [95.0, 96.0]}
    faster = {run: [1.05 * each for each in rates] for run, rates in nights.items()}
    cells = [*of_runs("stock", nights), *of_runs("quiet", faster)]

    [found] = compared(*cells, base="way=stock", against="way=quiet", where="run=mon tue wed").rows

    assert (found.row.evidence.unit, found.row.evidence.paired) == (Unit.RUN, True)
    assert found.margin.margin == pytest.approx(0.05)
    assert found.margin.word is Word.FASTER


def test_ten_days_give_the_standard_uncertainty_of_the_gum() -> None:
    # JCGM 100:2008, H.5, Table H.9: the means of ten days, in volts; their scatter gives the
    # standard uncertainty of the mean, 18 microvolt (18.05 from the table).
    means = [10.000172, 10.000116, 10.000013, 10.000144, 10.000106,
             10.000031, 10.000060, 10.000125, 10.000163, 10.000041]  # fmt: skip
    days = [f"day-{n}" for n in range(1, 11)]
    cells = [
        *of_runs("stock", {day: [10.0, 10.0] for day in days}),
        *of_runs("quiet", {day: [mean, mean] for day, mean in zip(days, means, strict=True)}),
    ]

    [found] = compared(
        *cells, base="way=stock", against="way=quiet", where=f"run={' '.join(days)}"
    ).rows

    assert 10.0 * (1.0 + found.margin.margin) == pytest.approx(10.000097, abs=5e-7)
    assert 10.0 * (found.row.evidence.se or 0.0) == pytest.approx(18.05e-6, abs=5e-9)
    assert found.row.evidence.df == 9


def test_one_run_on_a_side_tells_no_spread_however_many_passes_it_has() -> None:
    cells = [side("stock", [100.0, 101.0, 102.0], run="mon"), *of_runs("stock", QUIET)]
    [found] = compared(*cells, base="run=mon", against="run=thu fri sat").rows

    assert found.margin.low is None
    assert found.margin.word is Word.UNRESOLVED
    assert "one run on a side" in found.row.flags


def test_a_run_with_one_side_only_is_left_out_of_the_pairs_and_told() -> None:
    cells = [*of_runs("stock", STOCK), *of_runs("quiet", {"mon": [105.0], "tue": [108.0]})]
    [found] = compared(*cells, base="way=stock", against="way=quiet", where="run=mon tue wed").rows

    assert found.row.evidence.n == (2, 2)
    assert found.row.base.n == 5
    assert "left out, since it has one side only: run wed" in found.row.notes


def test_two_groups_of_one_run_are_never_put_together() -> None:
    cells = [
        side("stock", [100.0, 101.0], group=1, current=False),
        side("stock", [90.0, 91.0], group=2),
        side("quiet", [110.0, 111.0], group=2),
    ]
    with pytest.raises(AskedError) as error:
        match(
            cells, base={"way": ("stock",), "group": ("1", "2")}, against={"way": ("quiet",)},
            where={},
        )  # fmt: skip

    assert error.value.problems[0].code == "ambiguous-side"
    assert "never averaged together" in error.value.problems[0].what


def test_runs_of_a_side_whose_procedure_differs_need_a_reason() -> None:
    other = side("stock", STOCK["tue"], run="tue", of=plan(revision="2"))
    cells = [side("stock", STOCK["mon"], run="mon"), other, *of_runs("stock", QUIET)]

    with pytest.raises(AskedError) as error:
        compared(*cells, base="run=mon tue", against="run=thu fri sat")
    assert "revision within the base (run mon, run tue) differs" in error.value.problems[0].what

    found = compared(*cells, base="run=mon tue", against="run=thu fri sat", why="a comment moved")
    assert found.rows[0].row.evidence.n == (2, 3)


def test_passes_that_a_run_took_over_count_once() -> None:
    own = side("stock", STOCK["mon"], run="mon")
    taken = replace(own, run="tue", measured_in="mon")
    cells = [own, taken, side("stock", STOCK["wed"], run="wed"), *of_runs("stock", QUIET)]

    [found] = compared(*cells, base="run=mon tue wed", against="run=thu fri sat").rows

    assert found.row.evidence.n == (2, 3)


def test_a_cell_is_not_held_against_the_run_that_took_it_over() -> None:
    own = side("stock", STOCK["mon"], run="mon")
    taken = replace(own, run="tue", measured_in="mon")

    found = compared(own, taken, base="run=mon", against="run=tue")

    assert found.rows == ()
    assert "both sides have the same passes, those of run mon" in found.left_out[0][1]


def test_cells_between_two_reference_passes_that_disagree_are_flagged() -> None:
    moved = replace(side("quiet", [110.0, 111.0]), apart=True)
    [found] = compared(
        side("stock", [100.0, 101.0]), moved, base="way=stock", against="way=quiet"
    ).rows

    assert "the other side: references-apart" in found.row.flags


def test_a_run_whose_passes_lack_the_figure_is_no_value() -> None:
    empty = side("stock", [a_pass(None, 1)], run="tue")
    cells = [side("stock", STOCK["mon"], run="mon"), empty,
             side("stock", STOCK["wed"], run="wed"), *of_runs("stock", QUIET)]  # fmt: skip

    [found] = compared(*cells, base="run=mon tue wed", against="run=thu fri sat").rows

    assert found.row.evidence.n == (2, 3)
    assert any("too few frames" in note for note in found.row.notes)
    assert math.isfinite(found.margin.low or math.nan)


def test_the_cells_of_a_run_know_whether_they_lie_between_references_that_disagree() -> None:
    steps = [
        *over_nights.references([100.0]),
        *over_nights.counted([60.0]),
        *over_nights.references([90.0]),
    ]
    entries = over_nights.entries(steps)
    found = {each.cell.key: each.apart for each in side_cells(entries, plan=over_nights.plan())}

    assert found[over_nights.UHD]
    assert sum(found.values()) == 1


def test_over_titles_the_nights_that_all_of_them_share_count_once() -> None:
    titles = ("Lantern Quay", "Basalt Run", "Copper Fen")
    own = plan(*(title(name) for name in titles))
    base = {"mon": 1.0, "tue": 1.04, "wed": 0.96}
    against = {"thu": 1.062, "fri": 1.102, "sat": 1.022}
    cells = [
        side("stock", [100.0 * night, 100.0 * night], of=own, run=run, name=name)
        for name in titles
        for run, night in {**base, **against}.items()
    ]

    found = compared(*cells, base="run=mon tue wed", against="run=thu fri sat")

    assert {each.margin.word for each in found.rows} == {Word.UNRESOLVED}
    assert found.overall is not None
    assert found.overall.these.word is Word.UNRESOLVED
    assert found.overall.like_these is not None
    assert found.overall.like_these.word is Word.UNRESOLVED
    assert found.overall.these.low == pytest.approx(found.rows[0].margin.low)


def test_what_one_run_a_side_leaves_in_every_row_is_in_their_mean_too() -> None:
    cells = [*of_runs("stock", {"mon": [100.0, 101.0]}), *of_runs("stock", {"thu": [110.0, 111.0]})]
    found = compared(*cells, base="run=mon", against="run=thu")

    assert found.overall is not None
    assert found.overall.flags == ("different runs",)


def test_the_only_run_that_both_sides_have_does_not_throw_the_others_out() -> None:
    cells = [
        *of_runs("stock", STOCK),
        *of_runs("quiet", {"wed": [105.0, 106.0], **QUIET}),
    ]
    matched = match(
        cells,
        base={"way": ("stock",), "run": ("mon", "tue", "wed")},
        against={"way": ("quiet",), "run": ("wed", "thu", "fri", "sat")},
        where={},
    )
    [found] = compare(matched, asked=Asked(weights={})).rows

    assert found.row.evidence.n == (3, 4)
    assert found.margin.low is not None
    assert found.row.flags == ()


def rounds(way: str, *of_round: list[float]) -> SideCell:
    """Return a side with several passes in a round."""
    passes = [(n, value) for n, values in enumerate(of_round, 1) for value in values]
    return side(way, [a_pass(value, at, round_no=n) for at, (n, value) in enumerate(passes, 1)])


def test_several_passes_in_a_round_count_as_their_mean_and_none_is_lost() -> None:
    base = [[100.0, 102.0], [90.0, 91.0], [110.0, 108.0], [95.0, 97.0]]
    against = [[104.0, 105.0], [94.0, 96.0], [113.0, 115.0], [99.0, 100.0]]
    cells = [rounds("stock", *base), rounds("quiet", *against)]
    [found] = compared(*cells, base="way=stock", against="way=quiet").rows

    logs = [[float(np.log(values).mean()) for values in own] for own in (against, base)]
    theirs = stats.ttest_rel(*logs)
    assert (found.row.base.n, found.row.against.n) == (8, 8)
    assert found.row.evidence.n == (4, 4)
    assert found.row.evidence.log_ratio / (found.row.evidence.se or 1.0) == pytest.approx(
        theirs.statistic
    )
    assert found.row.notes == ()


def test_few_rounds_of_several_passes_are_compared_by_their_passes() -> None:
    base = [[100.0, 100.5, 101.0], [100.2, 99.8, 100.1]]
    against = [[103.0, 103.5, 103.2], [102.9, 103.1, 103.3]]
    cells = [rounds("stock", *base), rounds("quiet", *against)]
    [found] = compared(*cells, base="way=stock", against="way=quiet").rows

    assert (found.row.evidence.unit, found.row.evidence.n) == (Unit.PASS, (6, 6))
    assert "rounds that have both sides: 2, with several passes in one" in found.row.notes[0]


def test_a_cell_that_was_taken_from_another_run_makes_no_pairs_with_this_ones() -> None:
    taken = replace(side("stock", [100.0, 103.0, 106.0], run="tue"), measured_in="mon")
    cells = [taken, side("quiet", [106.0, 109.0, 112.0], run="tue")]
    [found] = compared(*cells, base="way=stock", against="way=quiet").rows

    assert (found.row.evidence.unit, found.row.evidence.paired) == (Unit.PASS, False)
    assert found.row.flags == ("different runs",)
