"""Voids by level, with Fisher's exact test against the worked example and scipy."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.summary.voids import Balance, fisher_exact, void_balance


def test_the_lady_who_tastes_tea() -> None:
    # Fisher, The Design of Experiments (1935): 3 of 4 right; two-sided 34/70 (also in A. Agresti,
    # Categorical Data Analysis, table 3.8), and all right would be 2/70.
    p, least = fisher_exact(3, 4, 1, 4)
    assert p == pytest.approx(34 / 70, rel=1e-15)
    assert least == pytest.approx(2 / 70, rel=1e-15)


@given(
    of_first=st.integers(1, 30), of_second=st.integers(1, 30), data=st.data(),
)  # fmt: skip
def test_the_significance_is_scipys(of_first: int, of_second: int, data: st.DataObject) -> None:
    first = data.draw(st.integers(0, of_first))
    second = data.draw(st.integers(0, of_second))
    table = [[first, of_first - first], [second, of_second - second]]
    wanted = float(stats.fisher_exact(table).pvalue)
    assert fisher_exact(first, of_first, second, of_second)[0] == pytest.approx(wanted, rel=1e-9)


def test_a_level_that_loses_many_more_passes_is_named() -> None:
    hot, cool = void_balance("power", {"stock": (9, 30), "quiet": (1, 30)})
    assert (hot.level, hot.balance) == ("stock", Balance.MORE)
    assert (cool.level, cool.balance) == ("quiet", Balance.FEWER)
    assert hot.p == pytest.approx(float(stats.fisher_exact([[9, 21], [1, 29]]).pvalue))


def test_few_voids_are_too_few_to_tell_and_not_even() -> None:
    # 2 of 12 against 0 of 12: no table with two voids can be significant.
    first, second = void_balance("slot", {"alone": (2, 12), "shared": (0, 12)})
    assert first.balance is second.balance is Balance.TOO_FEW


def test_many_voids_alike_are_even() -> None:
    found = void_balance("slot", {"alone": (8, 40), "shared": (9, 40)})
    assert {each.balance for each in found} == {Balance.EVEN}


def test_no_void_at_all_is_even() -> None:
    found = void_balance("slot", {"alone": (0, 12), "shared": (0, 12)})
    assert {each.balance for each in found} == {Balance.EVEN}


def test_several_levels_share_the_significance_out() -> None:
    # 6 of 30 against 5 of 90: p = 0.029, more than 5 % / 4.
    levels = {"a": (6, 30), "b": (2, 30), "c": (2, 30), "d": (1, 30)}
    found = void_balance("driver", levels)
    assert found[0].p == pytest.approx(float(stats.fisher_exact([[6, 24], [5, 85]]).pvalue))
    assert 0.05 / 4 < found[0].p < 0.05
    assert found[0].balance is Balance.EVEN


def test_a_level_where_nothing_was_judged_is_left_out() -> None:
    assert void_balance("slot", {"alone": (1, 5), "shared": (0, 0)}) == ()
