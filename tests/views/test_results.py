from __future__ import annotations

from dataclasses import replace

from harness.plan.cells import Cell
from harness.rules.judgement import Figure
from harness.run.records import CellState
from harness.summary.cells import CellSummary, PassCounts
from harness.summary.estimates import estimate
from harness.views.results import as_table


def summary(*values: float, again: tuple[float, ...] = ()) -> CellSummary:
    """Return a cell of a title without frames, which reports one number in each pass."""

    def passes(numbers: tuple[float, ...]) -> list[Figure]:
        return [
            Figure(name="score", value=number, unit="1/s", definition="output-pattern/1")
            for number in numbers
        ]

    return CellSummary(
        run="lanes-1",
        rig="north-2",
        cell=Cell(title="Copper Fen", scene="packing", setting="small"),
        group=1,
        state=CellState.ACCEPTED,
        reason="3 passes kept, 3 wanted",
        passes=PassCounts(kept=len(values), discarded=len(again)),
        figures=(estimate(passes(values), passes=len(values)),),
        with_discarded=(estimate(passes((*values, *again)), passes=len(values) + len(again)),)
        if again
        else (),
        flags=(),
        marks=(),
    )


def test_a_figure_that_is_no_frame_rate_is_named_with_its_definition() -> None:
    lines = as_table([summary(50.0, 52.0, 54.0)], low="percentile", store="here")
    assert any(line.startswith("average: score (output-pattern/1)") for line in lines)
    assert any("52.0 ± 5.0 1/s" in line for line in lines)


def test_a_low_figure_that_a_title_cannot_have_is_not_called_not_measured() -> None:
    lines = as_table([summary(50.0, 52.0, 54.0)], low="percentile", store="here")
    assert not any("not measured" in line for line in lines)


def test_discarded_passes_are_put_back_for_such_a_figure_too() -> None:
    lines = as_table([summary(50.0, 52.0, 54.0, again=(20.0,))], low="percentile", store="here")
    place = lines.index("with the discarded passes put back:")
    assert lines[place + 1].startswith("  Copper Fen, packing, small: average 44 ± ")


def test_what_to_ask_of_a_cell_names_the_store_it_is_in() -> None:
    short = replace(summary(50.0, 52.0), state=CellState.SHORT, reason="2 of 3 passes kept")
    lines = as_table([short], low="percentile", store="/nights/my store")
    key = short.cell.key
    assert any(
        line.endswith(f"(harness trace {key} --run {short.run} --store '/nights/my store')")
        for line in lines
    )


def test_equal_values_are_shown_in_full_with_no_interval() -> None:
    lines = as_table([summary(52.573, 52.573, 52.573)], low="percentile", store="here")
    assert any("52.573 ± 0 1/s" in line for line in lines)
