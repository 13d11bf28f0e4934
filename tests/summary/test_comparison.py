from __future__ import annotations

import math
import statistics
from dataclasses import replace

import pytest

from harness.errors import AskedError
from harness.plan.document import Bound, By, Compare, Gate, Level, Order, Plan, Then
from harness.run.records import CellState
from harness.summary.comparison import Asked, Comparison, compare
from harness.summary.evidence import Unit
from harness.summary.families import Correction
from harness.summary.margins import Word
from harness.summary.matching import match
from harness.summary.rate_setters import Setter
from harness.summary.sides import KeptPass, SideCell
from tests.summary.comparing import TIMED, a_pass, plan, several, side, title

BASE, AGAINST = {"way": "stock"}, {"way": "quiet"}
#: Three passes a side, a margin of about 10 %.
SLOW, FAST = [100.0, 101.0, 100.5], [110.0, 111.0, 110.5]


def compared(
    *cells: SideCell,
    base: dict[str, str] | None = None,
    against: dict[str, str] | None = None,
    where: dict[str, str] | None = None,
    figure: str | None = None,
    band: float | None = None,
    correction: Correction = Correction.HOLM,
    weights: dict[str, float] | None = None,
    with_marked: bool = False,
    pool_spread: bool = False,
    despite: str = "",
) -> Comparison:
    matched = match(
        cells,
        base=several(BASE if base is None else base),
        against=several(AGAINST if against is None else against),
        where=several(where or {}),
    )
    asked = Asked(
        figure=figure,
        band=band,
        correction=correction,
        weights=weights or {},
        with_marked=with_marked,
        pool_spread=pool_spread,
        despite=despite,
    )
    return compare(matched, asked=asked)


def codes(error: pytest.ExceptionInfo[AskedError]) -> list[str]:
    return [problem.code for problem in error.value.problems]


# ------------------------------------------------------------------ unit of evidence


def test_cells_of_the_same_rounds_are_compared_round_by_round() -> None:
    # Drift of 10 % a round, and exactly 5 % between the sides in each of them.
    rates = [100.0, 110.0, 121.0]
    [found] = compared(side("stock", rates), side("quiet", [1.05 * r for r in rates])).rows

    assert (found.row.evidence.unit, found.row.evidence.paired) == (Unit.ROUND, True)
    assert found.margin.margin == pytest.approx(0.05)
    assert found.margin.word is Word.FASTER
    assert found.row.evidence.se == pytest.approx(0.0, abs=1e-12)


def test_a_pass_without_a_partner_in_its_round_is_left_out_and_told() -> None:
    stock = side("stock", [100.0, 101.0, 102.0])
    quiet = side("quiet", [a_pass(110.0, 1), a_pass(111.0, 3, round_no=3)])

    [found] = compared(stock, quiet).rows

    assert (found.row.base.n, found.row.against.n) == (2, 2)
    assert "1 pass left out" in found.row.notes[0]


def test_visits_are_the_unit_where_a_person_changed_the_hardware() -> None:
    by_hand = plan(by=By.OPERATOR, order=Order(visits=2))
    visits = {n: {"way": n} for n in range(1, 5)}

    def over(first: int, second: int, *rates: float) -> list[KeptPass]:
        stays = [first, first, second, second]
        return [a_pass(r, n, stay=stays[n - 1]) for n, r in enumerate(rates, start=1)]

    [found] = compared(
        side("stock", over(1, 3, 100.0, 100.0, 104.0, 104.0), of=by_hand, visits=visits),
        side("quiet", over(2, 4, 100.0, 100.0, 104.0, 104.0), of=by_hand, visits=visits),
    ).rows

    assert found.row.evidence.unit is Unit.VISIT
    assert found.row.evidence.n == (2, 2)
    assert (found.row.base.n, found.row.against.n) == (4, 4)
    assert found.row.evidence.df == pytest.approx(2.0)


def test_one_visit_a_side_is_said_to_be_of_this_insertion_only() -> None:
    by_hand = plan(by=By.OPERATOR)
    visits = {1: {"way": 1}, 2: {"way": 2}}
    late = [a_pass(r, n, stay=2) for n, r in enumerate(FAST, start=1)]

    [found] = compared(
        side("stock", SLOW, of=by_hand, visits=visits),
        side("quiet", late, of=by_hand, visits=visits),
    ).rows

    assert found.row.evidence.unit is Unit.PASS
    assert "this insertion only" in found.row.flags


def test_blocks_of_a_command_are_compared_unpaired_and_say_so() -> None:
    in_blocks = plan(order=Order(rounds_within="way"))
    late = [a_pass(r, n, stay=2) for n, r in enumerate(FAST, start=1)]

    [found] = compared(side("stock", SLOW, of=in_blocks), side("quiet", late, of=in_blocks)).rows

    assert (found.row.evidence.paired, found.row.flags) == (False, ("across blocks",))


def test_sides_of_different_runs_are_unpaired_and_say_so() -> None:
    [found] = compared(
        side("stock", SLOW, run="a", rig="north"), side("stock", FAST, run="b", rig="south"),
        base={"run": "a"}, against={"run": "b"},
    ).rows  # fmt: skip

    assert (found.row.evidence.paired, found.row.flags) == (False, ("different runs",))


# ------------------------------------------------------------------ what counts


def test_marked_passes_stay_out_unless_asked_for() -> None:
    stock = side("stock", [*(a_pass(r, n + 1) for n, r in enumerate(SLOW)),
                           a_pass(50.0, 4, marks=("gate gave up",))])  # fmt: skip
    quiet = side("quiet", [*FAST, 55.0])

    [out] = compared(stock, quiet).rows
    [taken] = compared(stock, quiet, with_marked=True).rows

    assert out.row.base.n == 3
    assert "1 marked of the base left out" in out.row.notes
    assert taken.row.base.n == 4
    assert "marked passes in it" in taken.row.flags


def test_a_cell_whose_passes_are_all_marked_is_listed_with_how_to_take_it() -> None:
    marked = [a_pass(r, n, marks=("gate gave up",)) for n, r in enumerate(SLOW, start=1)]
    found = compared(side("stock", marked), side("quiet", FAST))

    assert found.rows == ()
    assert "--with-marked" in found.left_out[0][1]


def test_a_low_figure_with_few_frames_in_its_tail_is_flagged_thin() -> None:
    def low(rate: float, n: int, *, thin: bool = False) -> KeptPass:
        return a_pass(rate, n, name="low_1pct_fps", definition="percentile/1", thin=thin)

    [found] = compared(
        side("stock", [low(50.0, 1, thin=True), low(51.0, 2)]),
        side("quiet", [low(60.0, 1), low(61.0, 2)]),
        figure="low_1pct_fps",
    ).rows

    assert "thin" in found.row.flags
    assert found.row.figure.definition == "percentile/1"


def test_a_pass_that_did_not_measure_the_figure_is_left_out_and_never_zero() -> None:
    stock = side("stock", [100.0, 101.0, a_pass(None, 3), 102.0])
    [found] = compared(stock, side("quiet", [110.0, 111.0, 112.0, 113.0])).rows

    assert found.row.base.n == 3
    assert any("attempt 3 of the base left out: too few frames" in n for n in found.row.notes)


def test_a_value_of_zero_has_no_ratio() -> None:
    found = compared(side("stock", [0.0, 1.0]), side("quiet", [2.0, 3.0]))

    assert found.rows == ()
    assert "no ratio" in found.left_out[0][1]


def test_figures_in_different_units_are_never_compared() -> None:
    quiet = side("quiet", [a_pass(9.0, 1, unit="ms"), a_pass(9.1, 2, unit="ms")])
    found = compared(side("stock", SLOW), quiet, despite="same thing")

    assert found.rows == ()
    assert "in fps and in ms" in found.left_out[0][1]


def test_a_figure_that_nobody_says_which_way_is_better_has_no_words() -> None:
    def warm(n: int) -> KeptPass:
        return a_pass(60.0 + n, n, name="gpu_temperature_mean_c", unit="°C")

    found = compared(
        side("stock", [warm(1), warm(2)]), side("quiet", [warm(1), warm(2)]),
        figure="gpu_temperature_mean_c",
    )  # fmt: skip

    assert found.rows == ()
    assert "which way" in found.left_out[0][1]


def test_a_title_that_is_only_timed_is_compared_by_its_own_figure() -> None:
    timed = plan(TIMED)

    def took(seconds: float, n: int) -> KeptPass:
        return a_pass(seconds, n, name="export", unit="s", definition="wall-time/1")

    [found] = compared(
        side(
            "stock", [took(100.0, 1), took(101.0, 2), took(100.4, 3)], of=timed, name="Basalt Run"
        ),
        side("quiet", [took(80.0, 1), took(81.0, 2), took(80.5, 3)], of=timed, name="Basalt Run"),
    ).rows

    assert found.margin.margin == pytest.approx(-0.2, abs=0.01)
    assert found.margin.word is Word.FASTER


def test_a_cell_that_is_not_accepted_is_flagged() -> None:
    [found] = compared(side("stock", SLOW, state=CellState.SHORT), side("quiet", FAST)).rows

    assert "the base is short" in found.row.flags


def test_what_sets_the_rate_stands_beside() -> None:
    busy = [a_pass(r, n, readings={"gpu.load": 99.0}) for n, r in enumerate(SLOW, start=1)]
    idle = [
        a_pass(r, n, readings={"gpu.load": 60.0, "gpu.limited.power": 0.4})
        for n, r in enumerate(SLOW, start=1)
    ]
    [found] = compared(side("stock", busy), side("quiet", idle)).rows

    assert found.row.base.setter.part is Setter.CARD
    assert found.row.against.setter.part is Setter.NOT_CARD
    assert dict(found.row.against.setter.limits) == {"gpu.limited.power": pytest.approx(0.4)}


# ------------------------------------------------------------------ matching


def test_a_cell_without_a_partner_is_listed() -> None:
    found = compared(side("stock", SLOW), side("quiet", FAST), side("stock", SLOW, setting="uhd"))

    assert len(found.rows) == 1
    assert found.left_out == (
        ("Lantern Quay, harbour loop, uhd, way stock (run two-ways-1 on north-2)",
         "only the base has it"),
    )  # fmt: skip


def test_a_cell_measured_again_is_taken_from_the_latest_run_and_the_older_is_listed() -> None:
    latest = side("stock", SLOW, run="two-ways-2")
    found = compared(latest, side("quiet", FAST, run="two-ways-2"), side("stock", SLOW))

    assert [each.row.base.cell.run for each in found.rows] == ["two-ways-2"]
    assert [cell.run for cell in found.older] == ["two-ways-1"]


def test_a_group_that_was_left_is_taken_only_where_it_is_named() -> None:
    left = side("stock", SLOW, group=1, current=False)
    now = side("stock", SLOW, group=2)
    quiet = side("quiet", FAST, group=2)

    [found] = compared(left, now, quiet).rows
    [named] = compared(
        left, now, quiet, base={**BASE, "group": "1"}, against={**AGAINST, "group": "2"}
    ).rows

    assert (found.row.base.cell.group, named.row.base.cell.group) == (2, 1)


def test_two_cells_for_one_place_are_refused_by_name() -> None:
    with pytest.raises(AskedError) as error:
        compared(
            side("stock", SLOW), side("quiet", FAST),
            base={"setting": "fhd"}, against={"way": "quiet"},
        )  # fmt: skip

    assert codes(error) == ["ambiguous-side"]
    assert "add way=stock" in error.value.problems[0].do


def test_both_sides_being_the_same_cell_is_refused() -> None:
    with pytest.raises(AskedError) as error:
        compared(
            side("stock", SLOW), base={"way": "stock"}, against={"setting": "fhd", "way": "stock"}
        )

    assert codes(error) == ["same-side"]


def test_every_slip_in_a_selection_is_named() -> None:
    with pytest.raises(AskedError) as error:
        compared(
            side("stock", SLOW), side("quiet", FAST),
            base={"way": "stok"}, against={"wey": "quiet"},
        )  # fmt: skip

    assert codes(error) == ["bad-selection", "bad-selection"]
    assert "quiet, stock" in error.value.problems[0].do


# ------------------------------------------------------------------ differences


def test_a_difference_inside_a_gate_is_named_by_its_reading_and_key() -> None:
    def gated(give_up_s: float) -> Plan:
        bound = Bound(reading="gpu.temperature", unit="°C", at_most=55.0)
        gate = Gate(bound=bound, for_s=10.0, give_up_s=give_up_s, then=Then.MARK)
        return replace(plan(), gates=(gate,))

    with pytest.raises(AskedError) as error:
        compared(
            side("stock", SLOW, of=gated(600.0), run="a"),
            side("stock", FAST, of=gated(900.0), run="b"),
            base={"run": "a"}, against={"run": "b"},
        )  # fmt: skip

    assert [problem.what for problem in error.value.problems] == [
        "procedure gates 1 (gpu.temperature).give_up_s differs: 600.0 in the base, 900.0 against"
    ]


def test_every_difference_is_named_and_refused_without_a_reason() -> None:
    one = plan(title(), compare=Compare(same=("os.build", "memory.speed")))
    other = plan(title(argument="--other"), compare=Compare(same=("os.build",)), revision="2")
    with pytest.raises(AskedError) as error:
        compared(
            side("stock", SLOW, of=one, run="a", fingerprint={"os.build": "1"}),
            side("stock", FAST, of=other, run="b", fingerprint={"os.build": "2"}),
            base={"run": "a"}, against={"run": "b"},
        )  # fmt: skip

    assert codes(error) == [
        "procedure-differs", "procedure-differs", "fingerprint-differs", "fingerprint-differs",
    ]  # fmt: skip
    named = [problem.what for problem in error.value.problems]
    assert "procedure command differs" in named[0]
    assert "memory.speed is not read on both sides" in named[2]
    assert "os.build differs: 1 in the base, 2 against" in named[3]


def test_with_a_reason_it_is_compared_and_the_differences_stay_with_it() -> None:
    found = compared(
        side("stock", SLOW, run="a", of=plan(revision="1")),
        side("stock", FAST, run="b", of=plan(revision="2")),
        base={"run": "a"}, against={"run": "b"}, despite="only a comment changed",
    )  # fmt: skip

    assert [each.name for each in found.differences] == ["revision"]
    assert found.asked.despite == "only a comment changed"
    assert len(found.rows) == 1


def test_a_definition_that_changed_is_a_difference() -> None:
    newer = [a_pass(r, n, definition="frames-over-time/2") for n, r in enumerate(FAST, start=1)]
    with pytest.raises(AskedError) as error:
        compared(side("stock", SLOW), side("quiet", newer))

    assert codes(error) == ["definition-differs"]


def test_what_a_condition_is_meant_to_change_is_no_difference() -> None:
    drivers = plan(compare=Compare(same=("gpu.driver",)), changes=("gpu.driver",))
    found = compared(
        side("stock", SLOW, of=drivers, fingerprint={"gpu.driver": "1"}),
        side("quiet", FAST, of=drivers, fingerprint={"gpu.driver": "2"}),
    )

    assert (found.differences, found.also) == ((), ())


def test_other_fields_that_differ_are_shown_and_do_not_refuse() -> None:
    found = compared(
        side("stock", SLOW, run="a", fingerprint={"cpu.model": "one"}),
        side("stock", FAST, run="b", fingerprint={"cpu.model": "other"}),
        base={"run": "a"}, against={"run": "b"},
    )  # fmt: skip

    assert found.differences == ()
    assert [(each.name, each.base, each.against) for each in found.also] == [
        ("cpu.model", "one", "other")
    ]


def test_plans_with_different_bands_ask_which_is_meant() -> None:
    with pytest.raises(AskedError) as error:
        compared(
            side("stock", SLOW, run="a", of=plan(compare=Compare(band=0.01))),
            side("stock", FAST, run="b"),
            base={"run": "a"}, against={"run": "b"},
        )  # fmt: skip

    assert codes(error) == ["bands-differ"]


# ------------------------------------------------------------------ over titles


def test_titles_are_taken_together_and_weighed() -> None:
    two = plan(title(), title("Copper Fen"))
    cells = [
        side(way, [rate, 1.01 * rate], of=two, name=name)
        for name, rates in (("Lantern Quay", (100.0, 121.0)), ("Copper Fen", (50.0, 50.0)))
        for way, rate in zip(("stock", "quiet"), rates, strict=True)
    ]

    plain = compared(*cells).overall
    weighed = compared(*cells, weights={"Lantern Quay": 3.0}).overall

    assert plain is not None
    assert weighed is not None
    assert plain.these.margin == pytest.approx(0.1)
    assert weighed.these.margin == pytest.approx(math.exp(0.75 * math.log(1.21)) - 1.0)
    assert plain.found.titles == 2


def test_a_weight_of_no_title_is_refused() -> None:
    with pytest.raises(AskedError) as error:
        compared(side("stock", SLOW), side("quiet", FAST), weights={"Lantern Quai": 2.0})

    assert codes(error) == ["bad-weight"]


def test_a_cell_whose_pilot_fixed_its_passes_is_compared_by_the_pilots_spread() -> None:
    rates = [100.0, 102.0, 101.0, 100.5, 101.5]
    passes = [
        replace(a_pass(fps, n), fixed="average_fps" if n <= 3 else "")
        for n, fps in enumerate(rates, start=1)
    ]
    [row] = compared(side("stock", passes), side("quiet", FAST, run="two-ways-2")).rows

    pilot = statistics.variance(math.log(fps) for fps in rates[:3])
    assert row.row.evidence.spreads[0].variance == pytest.approx(pilot)
    assert row.row.evidence.df == 2.0
    assert row.fieller is None


def test_a_spread_is_pooled_over_a_title_only_where_asked() -> None:
    rates = {
        ("fhd", "stock"): [100.0, 101.0, 99.5],
        ("fhd", "quiet"): [103.0, 103.2, 104.0],
        ("uhd", "stock"): [100.0, 99.0, 101.0],
        ("uhd", "quiet"): [102.0, 103.4, 104.0],
    }
    moved = [side(way, own, setting=setting) for (setting, way), own in rates.items()]

    own = compared(*moved).rows[0].row.evidence
    pooled = compared(*moved, pool_spread=True).rows[0].row.evidence

    assert (own.df, own.pooled_over) == (2, 0)
    assert (pooled.df, pooled.pooled_over) == (4.0, 2)


def test_levels_of_a_plan_by_hand_need_no_reading_to_be_told_apart() -> None:
    by_hand = plan(by=By.OPERATOR, levels=(Level(name="stock"), Level(name="quiet")))
    found = compared(
        side("stock", SLOW, of=by_hand, run="a"), side("quiet", FAST, of=by_hand, run="b"),
    )  # fmt: skip

    assert found.rows[0].row.flags == ("this insertion only",)
