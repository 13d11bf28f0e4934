"""Rules by median and quartiles against worked examples, and their tables against chance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.rules.critical_values import MODIFIED_Z, TUKEY, TWO_LEVELS, critical
from harness.rules.levels import two_levels
from harness.rules.outliers import Outlying
from harness.rules.resistant import modified_z, quartiles, tukey
from tests.rules.test_outliers import ROSNER, URANIUM


def test_the_uranium_outlier_has_the_modified_z_score_that_is_published() -> None:
    # Constants of Iglewicz and Hoaglin (1993); M = 29.96 for these data is widely printed.
    found = modified_z(URANIUM, floor=0.0, more_than=3.5)
    assert found is not None
    assert found.places == (7,)
    assert found.statistic == pytest.approx(29.96271357, abs=1e-8)


def test_the_furthest_of_rosners_three_has_the_modified_z_score_of_the_definition() -> None:
    # Computed from the definition, no published figure: median 2.095, MAD 0.545.
    found = modified_z(ROSNER, floor=0.0, more_than=3.5)
    assert found is not None
    assert ROSNER[found.places[0]] == 6.01
    assert found.statistic == pytest.approx(4.8453, abs=5e-5)


def test_two_outliers_do_not_mask_each_other_from_the_median() -> None:
    # Computed by hand with the definition: median 2.45, MAD 0.15.
    values = [2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3]
    found = modified_z(values, floor=0.0, more_than=3.5)
    assert found is not None
    assert found.places == (9,)
    assert found.statistic == pytest.approx(26.3055, abs=1e-9)


def test_where_more_than_half_are_equal_the_floor_decides() -> None:
    # The median distance is 0: without a floor the score is undefined, and nothing is found.
    values = [12.5, 12.5, 12.5, 12.5, 12.5, 13.1]
    assert modified_z(values, floor=0.0) is None
    assert tukey(values, floor=0.0) is None
    for look in (modified_z, tukey):
        found = look(values, floor=0.005)
        assert found is not None
        assert found.places == (5,)
        assert math.isfinite(found.statistic)
        assert look([100.0] * 5 + [100.4], floor=0.005) is None


def test_equal_values_have_no_outlier() -> None:
    assert modified_z([7.0] * 6, floor=0.005) is None
    assert tukey([7.0] * 6, floor=0.005) is None
    assert tukey([0.0] * 6, floor=0.005) is None


def test_tukeys_fences_flag_rosners_three() -> None:
    # Type 7 quartiles 1.565 and 2.835 (numpy's default): inner fences -0.34 and 4.74.
    assert quartiles(ROSNER) == pytest.approx(np.quantile(ROSNER, [0.25, 0.75]), abs=1e-12)
    low, high = quartiles(ROSNER)
    assert [value for value in ROSNER if value > high + 1.5 * (high - low)] == [5.34, 5.42, 6.01]
    found = tukey(ROSNER, floor=0.0, more_than=1.5)
    assert found is not None
    assert ROSNER[found.places[0]] == 6.01
    assert found.statistic == pytest.approx((6.01 - 2.835) / 1.27, abs=1e-12)
    assert tukey(ROSNER, floor=0.0, more_than=3.0) is None  # none is far out


@given(values=st.lists(st.floats(1.0, 100.0), min_size=1, max_size=40))
def test_quartiles_are_numpys(values: list[float]) -> None:
    assert quartiles(values) == pytest.approx(np.quantile(values, [0.25, 0.75]), rel=1e-12)


@pytest.mark.parametrize("n", [6, 11, 20])
@pytest.mark.parametrize("rule", ["modified-z", "tukey", "two-levels"])
def test_the_tables_hold_their_level_on_other_samples(rule: str, n: int) -> None:
    # 4000 samples by another generator than made the tables: standard error 0.34 %.
    samples = 4000
    rows = stats.norm.rvs(size=(samples, n), random_state=np.random.RandomState(n)).tolist()
    found: list[object | None]
    if rule == "modified-z":
        found = [modified_z(row, floor=0.0) for row in rows]
    elif rule == "tukey":
        found = [tukey(row, floor=0.0) for row in rows]
    else:
        found = [two_levels(row, alpha=0.05, floor=0.0) for row in rows]
    share = sum(each is not None for each in found) / samples
    assert share == pytest.approx(0.05, abs=4 * 0.0034)


@pytest.mark.parametrize("table", [MODIFIED_Z, TUKEY, TWO_LEVELS])
def test_between_two_rows_a_critical_value_lies_between_theirs(
    table: dict[int, tuple[float, float, float]],
) -> None:
    for n in (35, 50, 300):
        below = max(size for size in table if size <= n)
        above = min(size for size in table if size >= n)
        ends = sorted((critical(table, below, alpha=0.05), critical(table, above, alpha=0.05)))
        assert ends[0] <= critical(table, n, alpha=0.05) <= ends[1]
    assert critical(table, 5000, alpha=0.05) == critical(table, 1000, alpha=0.05)


def test_a_size_or_a_level_without_a_critical_value_is_refused() -> None:
    with pytest.raises(ValueError, match="from 4 values on"):
        critical(MODIFIED_Z, 3, alpha=0.05)
    with pytest.raises(ValueError, match=r"not at 0\.02"):
        critical(MODIFIED_Z, 6, alpha=0.02)


def test_an_outlier_is_named_once() -> None:
    assert isinstance(modified_z([1.0, 1.1, 1.2, 1.1, 1.0, 9.0], floor=0.0), Outlying)
