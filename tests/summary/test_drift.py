"""The charts of one cell over time."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest

from harness.plan.cells import Cell
from harness.summary.drift import Chart, Drift, Signal, drift
from harness.summary.series import Measured, Per, Series
from tests.summary.over_nights import FIRST_NIGHT

OLD, NEW = {"gpu.driver": "572.10"}, {"gpu.driver": "575.01"}

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: centre 50.81, limits 45.8159 and
# 55.8041, moving ranges up to 6.1347.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def made(
    values: list[float],
    *,
    new_from: int | None = None,
    a_night: int = 1,
    per: Per = Per.PASS,
) -> Series:
    changes = len(values) if new_from is None else new_from
    return Series(
        rig="north-2",
        cell=Cell(title="Lantern Quay", scene="harbour loop", setting="fhd"),
        figure="average_fps",
        unit="fps",
        definition="frames-over-time/1",
        procedure="p",
        reference=True,
        per=per,
        values=tuple(
            Measured(
                at=FIRST_NIGHT + timedelta(days=n // a_night, minutes=n),
                run=f"long-watch-{n // a_night + 1}",
                attempt=n,
                value=value,
                fields=OLD if n < changes else NEW,
            )
            for n, value in enumerate(values)
        ),
    )


def noise(count: int, *, centre: float = 100.0, sd: float = 0.3, seed: int = 4) -> list[float]:
    chance = random.Random(seed)
    return [chance.gauss(centre, sd) for _ in range(count)]


def signals(found: Drift, chart: Chart) -> list[Signal]:
    return [each for each in found.signals if each.chart is chart]


def test_the_handbooks_flow_rates_have_the_handbooks_limits_and_no_signal() -> None:
    found = drift(made(FLOW), handbook=True)

    assert found.bounds is not None
    assert found.bounds.low == pytest.approx(45.8159, abs=5e-4)
    assert found.bounds.high == pytest.approx(55.8041, abs=5e-4)
    assert found.bounds.leap == pytest.approx(6.1347, abs=5e-4)
    assert found.signals == ()


def test_limits_from_few_values_are_wider_than_the_handbooks() -> None:
    known, widened = drift(made(noise(20)), handbook=True), drift(made(noise(20)))

    assert known.bounds is not None
    assert widened.bounds is not None
    assert widened.bounds.high > known.bounds.high
    assert widened.bounds.low < known.bounds.low
    assert widened.bounds.leap > known.bounds.leap
    assert all(
        wide.high > narrow.high
        for wide, narrow in zip(widened.averages, known.averages, strict=True)
    )


def test_seven_values_have_no_limits() -> None:
    found = drift(made(noise(7)))

    assert (found.limits, found.bounds, found.averages, found.signals) == (None, None, (), ())


def test_the_limits_are_those_of_the_first_twenty_and_do_not_drift_along() -> None:
    first = noise(20)
    moved = drift(made([*first, *noise(40, centre=110.0, seed=5)]))

    assert moved.limits == drift(made(first)).limits


def test_a_step_smaller_than_any_single_value_shows_is_found_by_the_average() -> None:
    found = drift(made([*noise(20), *noise(16, centre=99.3, sd=0.2, seed=8)]))

    assert signals(found, Chart.INDIVIDUALS) == []
    [signal] = signals(found, Chart.EWMA)
    assert not signal.high
    assert signal.first >= 20
    assert signal.share == pytest.approx(-0.007, abs=0.002)


def test_an_average_that_only_touches_its_limits_again_is_one_signal() -> None:
    # From the 21st value on the average hangs about its lower limit without a way back.
    found = drift(made([*noise(20), *[99.3, 98.4] * 12]))

    [signal] = signals(found, Chart.EWMA)
    places = [n for n in range(44) if (Chart.EWMA, False) in found.outside(n)]
    assert (signal.first, signal.last) == (places[0], places[-1])


def test_what_changed_since_the_average_was_last_in_order_stands_with_its_signal() -> None:
    found = drift(made([*noise(24), *noise(12, centre=98.8, seed=8)], new_from=24))

    [signal] = signals(found, Chart.EWMA)
    assert signal.began is not None
    assert signal.began < 24 <= signal.first
    assert [each.fields for each in signal.changes] == [(("gpu.driver", "572.10", "575.01"),)]


def test_a_change_before_the_drift_began_is_not_named_with_it() -> None:
    found = drift(made([*noise(30), *noise(12, centre=98.8, seed=8)], new_from=5))

    [signal] = signals(found, Chart.EWMA)
    assert len(found.changes) == 1
    assert signal.changes == ()


def test_one_value_far_out_is_a_signal_by_itself_and_a_leap() -> None:
    values = noise(30)
    values[25] = 104.0
    found = drift(made(values))

    [alone] = signals(found, Chart.INDIVIDUALS)
    assert (alone.first, alone.last, alone.high, alone.began) == (25, 25, True, 24)
    assert [(each.first, each.high) for each in signals(found, Chart.MOVING_RANGE)] == [
        (25, True),
        (26, False),
    ]


def test_values_without_any_spread_make_every_other_value_a_signal() -> None:
    found = drift(made([100.0] * 20 + [100.1]))

    assert [each.first for each in signals(found, Chart.INDIVIDUALS)] == [20]


def test_nights_that_differ_by_more_than_their_passes_are_told() -> None:
    nights, passes = (99.0, 101.0, 99.2, 100.8, 100.0), noise(4, centre=0.0, sd=0.05)
    alike = [night + value for night in nights for value in passes]

    assert drift(made(alike, a_night=4)).nights_differ
    assert not drift(made(noise(20), a_night=4)).nights_differ
    assert drift(made(alike, a_night=4, per=Per.NIGHT)).nights is None


def test_more_values_may_set_the_limits() -> None:
    found = drift(made(noise(60)), first=40)

    assert found.limits is not None
    assert found.limits.values == 40


@pytest.mark.parametrize("value", [127.57, 248.48, 0.1, 59.94, 1e-7])
def test_a_series_that_never_changes_is_in_order(value: float) -> None:
    assert drift(made([value] * 24)).signals == ()
