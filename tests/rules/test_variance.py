"""Chi-square and F against scipy and the printed tables."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from harness.rules.variance import chi2_quantile, chi2_tail, f_quantile, f_tail

dfs = st.integers(1, 400)
shares = st.floats(1e-6, 1 - 1e-6)


@given(p=shares, df=dfs)
def test_chi_square_is_scipys(p: float, df: int) -> None:
    x = chi2_quantile(p, df=df)
    assert x == pytest.approx(float(stats.chi2.ppf(p, df)), rel=1e-8)
    assert chi2_tail(x, df=df) == pytest.approx(float(stats.chi2.sf(x, df)), rel=1e-9)


@given(p=shares, df1=dfs, df2=dfs)
def test_f_is_scipys(p: float, df1: int, df2: int) -> None:
    f = f_quantile(p, df1=df1, df2=df2)
    assert f_tail(f, df1=df1, df2=df2) == pytest.approx(float(stats.f.sf(f, df1, df2)), rel=1e-9)
    assert float(stats.f.cdf(f, df1, df2)) == pytest.approx(p, rel=1e-8)


def test_quantiles_are_those_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook 1.3.6.7.3 and 1.3.6.7.4, upper 5 %.
    assert chi2_quantile(0.95, df=10) == pytest.approx(18.307, abs=5e-4)
    assert f_quantile(0.95, df1=3, df2=10) == pytest.approx(3.708, abs=5e-4)
    assert f_quantile(0.95, df1=5, df2=5) == pytest.approx(5.050, abs=5e-4)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.5])
def test_a_share_lies_between_nothing_and_all(p: float) -> None:
    with pytest.raises(ValueError, match="share"):
        chi2_quantile(p, df=3)


@pytest.mark.parametrize("df", [0.0, -1.0, float("inf")])
def test_degrees_of_freedom_are_positive_and_finite(df: float) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        f_tail(1.0, df1=df, df2=3)


def test_nothing_lies_below_zero_and_little_far_out() -> None:
    assert chi2_tail(0.0, df=3) == f_tail(-1.0, df1=2, df2=3) == 1.0
    assert f_tail(1e300, df1=50, df2=50) == 0.0
