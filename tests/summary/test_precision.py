"""The same cells on several rigs, and the nights of each."""

from __future__ import annotations

from datetime import timedelta

import pytest

from harness.errors import AskedError
from harness.plan.canonical import thaw
from harness.plan.document import Plan
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.precision import Precision, precision
from harness.summary.series import Wanted, series
from harness.summary.sides import side_cells
from tests.summary.over_nights import (
    FINGERPRINT,
    FIRST_NIGHT,
    counted,
    entries,
    nights_of,
    plan,
)

RIGS = ("dale-2", "east-3", "hill-4", "north-2", "south-1", "west-1")


def on(
    rig: str,
    *values: float,
    run: str = "",
    night: int = 0,
    fields: dict[str, str] | None = None,
    of: Plan | None = None,
) -> list[Entry]:
    return entries(
        counted(list(values)), run=run or f"{rig}-{night + 1}", rig=rig, of=of,
        at=FIRST_NIGHT + timedelta(days=night), fields={**FINGERPRINT, **(fields or {})},
    )  # fmt: skip


def found(*runs: list[Entry], despite: str = "") -> Precision:
    """Return what the runs say, the latest given last."""
    known = []
    for run in runs:
        started = run[0].record
        assert isinstance(started, r.RunStarted)
        known.append((thaw(started.plan), run))
    wanted = Wanted(reference=False, figure=lambda plan, cell: "average_fps")
    return precision(
        [side for of, run in reversed(known) for side in side_cells(run, plan=of)],
        histories=series(known, wanted=wanted),
        despite=despite,
    )


def test_six_rigs_have_repeatability_and_reproducibility() -> None:
    runs = [on(rig, 60.0 + n, 60.2 + n, 59.8 + n) for n, rig in enumerate(RIGS)]
    [cell] = found(*runs).cells

    assert cell.between is not None
    # Each rig has the variance 0.04; the means 0 to 5 have the variance 3.5.
    assert cell.between.spreads.sd_r == pytest.approx(0.2)
    assert cell.between.spreads.sd_rigs == pytest.approx((3.5 - 0.04 / 3) ** 0.5)
    assert cell.pairs == ()
    assert [each.side.rig for each in cell.rigs] == list(RIGS)


def test_fewer_rigs_have_only_their_differences() -> None:
    runs = [on(rig, value, value * 1.001) for rig, value in (("north-2", 60.0), ("south-1", 61.2))]
    [cell] = found(*runs).cells

    assert cell.between is None
    [pair] = cell.pairs
    assert pair.share == pytest.approx(0.02)
    assert pair.low is not None
    assert pair.high is not None
    assert pair.low < 0.02 < pair.high


def test_of_each_rig_the_latest_run_that_measured_the_cell_is_taken() -> None:
    told = found(
        on("north-2", 50.0, 50.1),
        on("north-2", 60.0, 60.1, night=1),
        on("south-1", 60.0, 60.2, night=1),
    )

    assert [each.side.run for each in told.cells[0].rigs] == ["north-2-2", "south-1-2"]
    assert told.older == 1


def test_the_nights_of_one_rig_stand_by_themselves() -> None:
    [cell] = found(
        on("north-2", 60.0, 60.2),
        on("north-2", 61.0, 61.2, night=1),
        on("north-2", 59.0, 59.2, night=2),
    ).cells

    [nights] = cell.nights
    assert [each.mean for each in nights.groups] == pytest.approx([60.1, 61.1, 59.1])
    assert nights.analysis is not None
    assert nights.analysis.sd_within == pytest.approx(0.02**0.5)
    # Means one apart have the variance 1; of it 0.02 / 2 is that of two passes a night.
    assert nights.analysis.sd_between == pytest.approx((1.0 - 0.01) ** 0.5)
    assert nights.half_width == pytest.approx(4.302653 * (1.0 / 3) ** 0.5, rel=1e-6)


def test_nights_under_an_earlier_fingerprint_are_counted_and_left_out() -> None:
    [cell] = found(
        on("north-2", 90.0, 90.1, fields={"gpu.driver": "560.00"}),
        on("north-2", 60.0, 60.2, night=1),
        on("north-2", 60.1, 60.3, night=2),
    ).cells

    [nights] = cell.nights
    assert (len(nights.groups), nights.left_out) == (2, 2)


def test_one_night_on_one_rig_is_left_out_with_the_reason() -> None:
    told = found(on("north-2", 60.0, 60.1))

    assert told.cells == ()
    assert any("one night on one rig" in why for _, why in told.left_out)


def test_other_fields_of_the_fingerprint_are_named_and_need_no_reason() -> None:
    told = found(
        on("north-2", 60.0, 60.1, fields={"board.model": "Fen 1"}),
        on("south-1", 60.0, 60.1, fields={"board.model": "Fen 2"}),
    )

    [differs] = told.differs
    assert differs.differences == ()
    assert [(each.name, each.base, each.against) for each in differs.also] == [
        ("board.model", "Fen 1", "Fen 2")
    ]


def test_rigs_that_measured_by_other_procedures_need_a_reason() -> None:
    runs = on("north-2", 60.0, 60.1), on("south-1", 60.0, 60.1, of=plan(argument="--faster"))

    with pytest.raises(AskedError) as refused:
        found(*runs)
    assert {each.code for each in refused.value.problems} == {"procedure-differs"}
    told = found(*runs, despite="the option changes nothing here")
    assert told.despite == "the option changes nothing here"
    assert len(told.cells) == 1


def test_a_rig_without_a_kept_pass_is_named_and_leaves_the_others() -> None:
    told = found(on("east-3"), on("north-2", 60.0, 60.1), on("south-1", 60.0, 60.1))

    [cell] = told.cells
    assert [each.side.rig for each in cell.rigs] == ["north-2", "south-1"]
    assert any("east-3" in label for label, _ in told.left_out)


def test_values_that_are_equal_on_every_rig_have_no_h_and_no_k() -> None:
    [cell] = found(*(on(rig, 60.0, 60.0) for rig in RIGS)).cells

    assert cell.between is not None
    assert cell.between.h is None
    assert set(cell.between.k) == {None}
    assert cell.between.spreads.sd_big_r == 0.0
    assert cell.between.tests == ()


def test_reference_passes_are_no_values_of_a_rig() -> None:
    told = found(*nights_of([[100.0], [101.0]]))

    assert told.cells == ()
