"""A cell beside its own history. The prediction interval is held against scipy's t and numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.plan.canonical import freeze, plan_hash
from harness.run import records as r
from harness.run.records import CellState
from harness.store.seen import PassSeen
from harness.summary.cells import CellSummary, PassCounts
from harness.summary.earlier import earlier_values
from harness.summary.estimates import Estimate
from harness.summary.unlike import UNLIKE_HISTORY, Unlike, flagged, unlike_history
from tests.summary.test_earlier import CELL, PLAN, passed

BAND = PLAN.compare.band


def cell(mean: float | None, *, reused: r.CellReused | None = None) -> CellSummary:
    figure = Estimate(
        name="average_fps",
        unit="fps",
        definition="average/1",
        mean=mean,
        sd=None,
        n=3 if mean is not None else 0,
        half_width=None,
    )
    return CellSummary(
        run="night-2",
        rig="bench-a",
        cell=CELL,
        group=1,
        state=CellState.ACCEPTED,
        reason="",
        passes=PassCounts(),
        figures=(figure,),
        with_discarded=(),
        flags=("thin",),
        marks=(),
        reused=reused,
    )


def beside(mean: float | None, *runs: float) -> tuple[Unlike, ...]:
    return unlike_history(PLAN, [cell(mean)], {CELL.key: [[value] for value in runs]})


def test_a_step_to_half_the_rate_is_unlike_three_nights_that_agree() -> None:
    (found,) = beside(50.0, 100.0, 100.4, 99.7)

    assert found.share == pytest.approx(-0.5, abs=0.002)
    assert (found.unit, found.earlier) == ("fps", 3)


def test_a_step_within_the_band_is_like_its_history() -> None:
    assert beside(100.0 * (1 + 0.9 * BAND), 100.0, 100.0, 100.0, 100.0) == ()


def test_nights_that_scatter_widely_call_nothing_unlike() -> None:
    assert beside(110.0, 90.0, 100.0, 112.0) == ()


@given(st.lists(st.floats(50.0, 200.0), min_size=3, max_size=12))
def test_the_limits_are_the_prediction_interval_of_one_further_value(runs: list[float]) -> None:
    logs = np.log(runs)
    k = len(runs)
    allowed = stats.t.ppf(0.995, k - 1) * np.std(logs, ddof=1) * math.sqrt(1 + 1 / k)
    allowed = max(allowed, math.log1p(BAND))
    (found,) = beside(1e9, *runs)

    assert found.high == pytest.approx(math.exp(logs.mean() + allowed), rel=1e-9)
    assert found.low == pytest.approx(math.exp(logs.mean() - allowed), rel=1e-9)


@pytest.mark.parametrize("bands", [2.5, 3.5])
def test_one_earlier_night_allows_three_bands(bands: float) -> None:
    found = beside(100.0 * (1 + BAND) ** bands, 100.0)

    assert bool(found) == (bands > 3.0)


def test_a_cell_without_history_or_without_a_figure_is_not_judged() -> None:
    assert beside(50.0) == ()
    assert beside(None, 100.0, 100.0, 100.0) == ()


def test_values_of_one_night_count_as_one_value() -> None:
    (found,) = unlike_history(PLAN, [cell(50.0)], {CELL.key: [[99.0, 100.0, 101.0], [100.0]]})

    assert found.earlier == 2


def test_the_flag_joins_those_that_are_there() -> None:
    (shown,) = flagged([cell(50.0)], beside(50.0, 100.0))

    assert shown.flags == ("thin", UNLIKE_HISTORY)


def test_history_is_told_by_run_and_fingerprint() -> None:
    nights: list[list[PassSeen]] = [
        [passed(fps=100.0), passed(fps=102.0), passed(fps=90.0, group=2)],
        [passed(fps=101.0), passed()],
    ]
    runs = [(plan_hash(PLAN), freeze(PLAN), lambda seen=seen: seen) for seen in nights]

    assert earlier_values(PLAN, runs) == {CELL.key: [[100.0, 102.0], [90.0], [101.0]]}
