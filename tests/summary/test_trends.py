"""Trends over passes, against published values and independent computations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.summary.trends import mann_kendall, pooled_trend

# Annual maximum of the daily mean discharge of the Rhine at Maxau is not stored with us; this is
# the series of the vignette of the R package trend 1.1.6, p. 2: S = -144, varS = 10450,
# z = -1.3989, p = 0.1619.
MAXAU = [
    1649.353425, 1585.268493, 1370.112329, 1520.901639, 1255.726027, 1808.342466, 864.106849,
    959.306011, 1141.553425, 1216.232877, 1344.424658, 861.909836, 1402.923288, 1415.838356,
    1349.797260, 1419.099508, 1523.753690, 1535.471233, 1365.452055, 1228.248634, 1114.013699,
    1339.917808, 1537.331507, 1448.259563, 1000.786301, 1095.213699, 1055.315068, 1208.972678,
    1174.008219, 1356.641096, 1565.473973, 1112.543716, 1163.920548, 1143.304110, 1723.832877,
    1400.866199, 1632.989041, 1495.701370, 915.753425, 1062.422678, 1048.984539, 1263.654795,
    1286.673973, 1205.051913, 1112.386301,
]  # fmt: skip


# Annual flow of the Nile, 1871-1970 (statsmodels, from Durbin and Koopman). The statistic is
# computed from the definition with its term for ties; no published figure was found.
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960,
    1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694,
    940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
    821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822,
    1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def series(*values: float) -> list[tuple[int, float]]:
    return list(enumerate(values, start=1))


def test_the_published_series_has_the_published_statistic() -> None:
    trend = pooled_trend([series(*MAXAU)])
    assert trend is not None
    assert mann_kendall(MAXAU) == (-144, 10450.0)
    assert trend.z == pytest.approx(-1.3989, abs=5e-5)
    assert trend.p == pytest.approx(0.1619, abs=5e-5)


def test_a_long_series_with_ties_has_the_statistic_of_the_definition() -> None:
    trend = pooled_trend([series(*map(float, NILE))])
    assert trend is not None
    found, variance = mann_kendall(NILE)
    assert found == -1387
    assert variance == pytest.approx(112728.3333333)
    assert trend.z == pytest.approx(-4.128066523, abs=1e-8)
    assert trend.p == pytest.approx(3.658263e-05, rel=1e-6)


# By hand, with the variance of the definition; ties in the fourth.
@pytest.mark.parametrize(
    ("values", "s", "variance"),
    [
        ([1.0, 2.0, 3.0, 4.0, 5.0], 10, 50 / 3),
        ([5.0, 4.0, 3.0, 2.0, 1.0], -10, 50 / 3),
        ([1.0, 3.0, 2.0, 4.0, 5.0], 8, 50 / 3),
        ([2.0, 1.0, 2.0, 3.0, 3.0], 6, 44 / 3),
        ([1.0, 1.0, 1.0, 1.0], 0, 0.0),
    ],
)
def test_small_series_are_as_by_hand(values: list[float], s: int, variance: float) -> None:
    found, its = mann_kendall(values)
    assert found == s
    assert its == pytest.approx(variance)


def test_cells_that_are_all_equal_have_no_trend_to_tell() -> None:
    assert pooled_trend([series(1.0, 1.0, 1.0), series(2.0)]) is None
    assert pooled_trend([]) is None


def test_one_cell_of_five_cannot_tell_what_twelve_together_can() -> None:
    chance = np.random.default_rng(4)
    cells = [
        series(*(rate * 0.99**n * math.exp(chance.normal(0, 0.005)) for n in range(5)))
        for rate in range(60, 180, 10)
    ]
    alone, together = pooled_trend(cells[:1]), pooled_trend(cells)
    assert alone is not None
    assert together is not None
    assert not alone.there
    assert together.there
    assert together.slope == pytest.approx(-0.01, abs=0.003)
    assert together.slope is not None
    assert together.low is not None
    assert together.high is not None
    assert together.low < together.slope < together.high


def test_cells_at_other_rates_are_no_trend() -> None:
    # Each cell is compared with itself only: the levels of the cells do not matter.
    cells = [series(rate, rate * 1.001, rate * 0.999) for rate in (30.0, 60.0, 90.0, 120.0)]
    trend = pooled_trend(cells)
    assert trend is not None
    assert not trend.there


def test_values_that_are_not_positive_have_no_relative_slope() -> None:
    trend = pooled_trend([series(-1.0, 0.0, 2.0, 3.0)])
    assert trend is not None
    assert (trend.slope, trend.low, trend.high) == (None, None, None)


def test_two_passes_have_a_slope_without_an_interval() -> None:
    trend = pooled_trend([series(100.0, 90.0)])
    assert trend is not None
    assert trend.slope == pytest.approx(-0.1)
    assert trend.low is None


@given(
    cells=st.lists(
        st.lists(st.integers(900, 1100).map(lambda n: n / 10), min_size=3, max_size=8),
        min_size=1,
        max_size=5,
    )
)
def test_the_slope_is_that_of_a_regression_with_a_mean_for_each_cell(
    cells: list[list[float]],
) -> None:
    trend = pooled_trend([series(*cell) for cell in cells])
    if trend is None or trend.low is None or trend.high is None:
        return
    # numpy's least squares over one column for each cell, and scipy's t.
    rows, logs = [], []
    for place, cell in enumerate(cells):
        for at, value in enumerate(cell, start=1):
            rows.append([float(place == each) for each in range(len(cells))] + [float(at)])
            logs.append(math.log(value))
    x, y = np.array(rows), np.array(logs)
    fit = np.linalg.lstsq(x, y, rcond=None)[0]
    df = len(y) - len(cells) - 1
    rest = y - x @ fit
    error = math.sqrt(float(rest @ rest) / df * float(np.linalg.inv(x.T @ x)[-1, -1]))
    reach = float(stats.t.ppf(0.975, df)) * error
    assert trend.slope == pytest.approx(math.expm1(fit[-1]), abs=1e-9)
    assert trend.low == pytest.approx(math.expm1(fit[-1] - reach), abs=1e-8)
    assert trend.high == pytest.approx(math.expm1(fit[-1] + reach), abs=1e-8)


@given(values=st.lists(st.integers(0, 20).map(float), min_size=4, max_size=12, unique=True))
def test_the_statistic_is_kendalls_tau(values: list[float]) -> None:
    s, _ = mann_kendall(values)
    n = len(values)
    tau = stats.kendalltau(range(n), values).statistic
    assert s / (n * (n - 1) / 2) == pytest.approx(float(tau), abs=1e-12)
