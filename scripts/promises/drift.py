"""How soon a drift of the reference cell is found, and how often one is found that is not there.

Limits come from the first twenty values; then the mean moves. A drift is found where a single
value or the moving average lies outside its limits, as ``harness drift`` has them: widened by
what twenty values leave open. What the handbook's own would do stands beside.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from harness.plan.cells import Cell
from harness.summary.drift import Chart, drift
from harness.summary.ewma import REACH, WEIGHT
from harness.summary.series import Measured, Per, Series
from harness.summary.usual import VALUES, widened
from promises.line import Chance, Line, share_line

Rows = NDArray[np.float64]
Found = NDArray[np.bool_]

#: Noise of one value, and the drift: shares of the mean.
SPREADS = (0.003, 0.005, 0.01)
STEP = 0.01

#: Promised: a step of 1 % is found within so many values, in so many of 100 rigs.
WITHIN, OF_100 = {0.003: 6, 0.005: 16}, 90.0

#: Promised: so many of 100 rigs without any drift leave their limits within so many more values.
FALSE = {20: 5.0, 100: 15.0}


def charts(values: Rows, *, handbook: bool = False) -> tuple[Found, Found]:
    """Return for each row and value: outside by itself, moving average outside."""
    first = values[:, :VALUES]
    centre = first.mean(axis=1, keepdims=True)
    sd = np.abs(np.diff(first, axis=1)).mean(axis=1) / 1.128
    reach, own = (REACH, 0.0) if handbook else (widened(REACH, values=VALUES), 1.0 / VALUES)
    alone = np.abs(values - centre) > reach * sd[:, np.newaxis] * math.sqrt(1.0 + own)
    average = np.zeros_like(alone)
    z, left = centre[:, 0], 1.0
    for at in range(values.shape[1]):
        z = WEIGHT * values[:, at] + (1.0 - WEIGHT) * z
        left *= (1.0 - WEIGHT) ** 2
        half = reach * sd * math.sqrt(WEIGHT / (2.0 - WEIGHT) * (1.0 - left) + own)
        average[:, at] = np.abs(z - centre[:, 0]) > half
    return alone, average


def run_length(chance: Chance) -> Iterator[Line]:
    """Steps and slow drifts of 1 %, at several noises."""
    samples = chance.samples(20_000)
    for sd in SPREADS:
        within = WITHIN.get(sd, 40)
        moved = _rows(chance, samples, sd, [STEP] * within)
        alone, average = (each[:, VALUES:].any(axis=1) for each in charts(moved))
        yield share_line(
            f"a step of 1 % at noise {100 * sd:g} %, within {within} values",
            int((alone | average).sum()), samples, least=OF_100 if sd in WITHIN else None,
            note="" if sd in WITHIN else "FAILS: noise as large as the drift needs more values",
        )  # fmt: skip
        yield share_line("  by single values alone", int(alone.sum()), samples)
        yield share_line("  by the moving average alone", int(average.sum()), samples)
        yield share_line("  by the handbook's limits", _by_handbook(moved), samples)
        found = _later(_rows(chance, samples, sd, [STEP] * 100))
        yield _median("  values until half of the rigs have found it", found)
    for sd in SPREADS[:2]:
        slow = [STEP * (n + 1) / 20 for n in range(20)]
        rows = _rows(chance, samples, sd, [*slow, *[STEP] * 10])
        alone, average = (each[:, VALUES:].any(axis=1) for each in charts(rows))
        name = f"1 % over 20 values at noise {100 * sd:g} %, within 30"
        yield share_line(name, int((alone | average).sum()), samples, least=OF_100)
        yield share_line("  by single values alone", int(alone.sum()), samples)


def false_alarms(chance: Chance) -> Iterator[Line]:
    """No drift at all: how many rigs have a chart out of its limits all the same."""
    samples = chance.samples(20_000)
    for more, most in FALSE.items():
        still = _rows(chance, samples, 0.005, [0.0] * more)
        found = int(_later(still).any(axis=1).sum())
        yield share_line(f"no drift in {more} more values", found, samples, most=most)
        yield share_line(
            "  by the handbook's limits", _by_handbook(still), samples,
            note="FAILS: twenty values do not tell centre and spread; why limits are widened",
        )  # fmt: skip
    found = int(_later(_with_nights(chance, samples)).any(axis=1).sum())
    yield share_line(
        "no drift in 40 more values, nights apart by as much as passes", found, samples,
        note="FAILS: passes of a night are alike; harness drift says so, take --per night",
    )  # fmt: skip


def _later(values: Rows) -> Found:
    """Return at which of the values after the first twenty a chart is out of its limits."""
    alone, average = charts(values)
    return (alone | average)[:, VALUES:]


def _by_handbook(values: Rows) -> int:
    """Return in how many rows one is, by limits that take centre and spread as known."""
    alone, average = charts(values, handbook=True)
    return int((alone | average)[:, VALUES:].any(axis=1).sum())


def published(chance: Chance) -> Iterator[Line]:
    """The simulation against published average run lengths, centre and spread being known.

    J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990) 1-12 (from memory): weight 0.2 and
    reach 2.962 give 500 values without a step and 10.5 with one of a standard deviation. Their
    limits are those for many values.
    """
    samples = chance.samples(10_000)
    for shift, promised in ((0.0, 500.0), (1.0, 10.5)):
        lengths = _known(chance, samples, shift, weight=0.2, reach=2.962)
        error = float(lengths.std(ddof=1)) / math.sqrt(samples)
        yield Line(
            name=f"average run length, a step of {shift:g} standard deviations",
            measured=float(lengths.mean()), error=error, least=0.99 * promised,
            most=1.01 * promised, unit="values",
        )  # fmt: skip
    rows = _rows(chance, 40, 0.005, [STEP] * 10)
    same = sum(_package(row) == [*map(bool, _any(row[np.newaxis])[0])] for row in rows)
    yield Line(
        name="rows in which harness drift says the same", measured=100.0 * same / len(rows),
        error=0.0, least=100.0,
    )  # fmt: skip


def _any(rows: Rows) -> Found:
    alone, average = charts(rows)
    return alone | average


def _package(row: Rows) -> list[bool]:
    """Return at which values ``harness drift`` finds one row outside."""
    at = datetime(2026, 11, 2, 22, 0, tzinfo=UTC)
    values = tuple(
        Measured(
            at=at + timedelta(hours=n), run="r", attempt=n, value=float(value),
            fields=MappingProxyType({}),
        )
        for n, value in enumerate(row)
    )  # fmt: skip
    found = drift(
        Series(
            rig="rig", cell=Cell(title="t", scene="s", setting="x"), figure="f", unit="",
            definition="", procedure="", reference=True, per=Per.PASS, values=values,
        )
    )  # fmt: skip
    charts_of = (found.outside(place) for place in range(len(values)))
    return [any(chart is not Chart.MOVING_RANGE for chart, _ in own) for own in charts_of]


def _rows(chance: Chance, samples: int, sd: float, moved: Sequence[float]) -> Rows:
    """Return rows of twenty values about 100, and then of one for each of *moved*."""
    noise = sd * chance.rng.standard_normal((samples, VALUES + len(moved)))
    shift = np.concatenate([np.zeros(VALUES), np.asarray(moved)])
    rows: Rows = 100.0 * (1.0 + shift + noise)
    return rows


def _with_nights(chance: Chance, samples: int) -> Rows:
    nights = chance.rng.standard_normal((samples, (VALUES + 40) // 4, 1))
    passes = nights + chance.rng.standard_normal((samples, (VALUES + 40) // 4, 4))
    rows: Rows = 100.0 + 0.5 * passes.reshape(samples, -1)
    return rows


def _known(chance: Chance, samples: int, shift: float, *, weight: float, reach: float) -> Rows:
    half = reach * math.sqrt(weight / (2.0 - weight))
    z = np.zeros(samples)
    lengths = np.zeros(samples)
    open_ones = np.arange(samples)
    while len(open_ones):
        lengths[open_ones] += 1.0
        z = weight * (shift + chance.rng.standard_normal(len(z))) + (1.0 - weight) * z
        inside = np.abs(z) <= half
        z, open_ones = z[inside], open_ones[inside]
    return lengths


def _median(name: str, outside: Found) -> Line:
    """Return the median run length, its error from the binomial spread of the ranks."""
    lengths = np.where(outside.any(axis=1), outside.argmax(axis=1) + 1.0, np.inf)
    ordered = np.sort(lengths)
    half, off = len(ordered) // 2, max(1, round(0.5 * math.sqrt(len(ordered))))
    error = float(ordered[half + off] - ordered[half - off]) / 2.0
    return Line(name=name, measured=float(ordered[half]), error=error, unit="values")


PROMISES = {
    "drift-published": published,
    "drift-run-length": run_length,
    "drift-false-alarms": false_alarms,
}
