"""Our quantiles against scipy's, and against the printed tables."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from harness.rules.student import (
    normal_quantile,
    normal_tail,
    normal_upper_quantile,
    t_quantile,
    t_tail,
    t_upper_quantile,
)

# Shares over the whole range, small ones as likely as large ones. Next to the median scipy's
# own functions lose digits, and closed forms take over.
shares = st.floats(-16.0, math.log10(0.49)).map(lambda power: 10.0**power)
deep_shares = st.floats(-250.0, -3.0).map(lambda power: 10.0**power)
degrees = st.one_of(
    st.integers(1, 200).map(float),
    st.floats(1.0, 1000.0),
    st.floats(3.0, 6.0).map(lambda power: 10.0**power),
)


@given(q=shares, df=degrees)
def test_the_tail_at_a_quantile_is_the_share_it_was_asked_for(q: float, df: float) -> None:
    # scipy's distribution function, at our quantile.
    t = t_upper_quantile(q, df=df)
    assert float(special.stdtr(df, -t)) == pytest.approx(q, rel=1e-12 if df <= 1000 else 1e-10)


@pytest.mark.parametrize("q", [0.4, 0.025, 1e-4])
def test_every_small_number_of_degrees_of_freedom_is_as_accurate(q: float) -> None:
    # Over the seam between the gamma function and its series.
    for halves in range(2, 240):
        t = t_upper_quantile(q, df=halves / 2)
        assert float(special.stdtr(halves / 2, -t)) == pytest.approx(q, rel=1e-12), halves


@given(q=shares.filter(lambda q: q < 0.4), df=degrees)
def test_quantiles_agree_with_scipy(q: float, df: float) -> None:
    assert t_upper_quantile(q, df=df) == pytest.approx(-float(special.stdtrit(df, q)), rel=1e-10)


@given(q=deep_shares, df=st.floats(3.0, 1000.0))
def test_small_shares_lose_no_digits(q: float, df: float) -> None:
    t = t_upper_quantile(q, df=df)
    if t < 1e60:
        assert float(special.stdtr(df, -t)) == pytest.approx(q, rel=1e-10)
    assert t_tail(t, df=df) == pytest.approx(q, rel=1e-10)


@given(t=st.floats(-50.0, 50.0).filter(lambda t: abs(t) > 0.01), df=degrees)
def test_tails_agree_with_scipy(t: float, df: float) -> None:
    wanted = float(special.stdtr(df, -t))
    if wanted > 1e-300:
        assert t_tail(t, df=df) == pytest.approx(wanted, rel=1e-10)
    assert t_tail(-t, df=df) == pytest.approx(float(special.stdtr(df, t)), rel=1e-10, abs=1e-300)


@given(p=st.floats(1e-9, 1.0 - 1e-9), df=degrees)
def test_quantile_and_distribution_are_each_others_inverse(p: float, df: float) -> None:
    assert t_tail(-t_quantile(p, df=df), df=df) == pytest.approx(p, rel=1e-10)


@given(p=st.floats(1e-9, 0.5), df=degrees)
def test_quantiles_are_symmetric(p: float, df: float) -> None:
    assert t_quantile(p, df=df) == -t_upper_quantile(p, df=df)


@given(q=st.one_of(shares, deep_shares))
def test_normal_quantiles_agree_with_scipy(q: float) -> None:
    assert normal_upper_quantile(q) == pytest.approx(-float(special.ndtri(q)), rel=1e-13, abs=1e-16)


@given(z=st.floats(-30.0, 30.0))
def test_normal_tails_agree_with_scipy(z: float) -> None:
    assert normal_tail(z) == pytest.approx(float(special.ndtr(-z)), rel=1e-12)
    assert normal_tail(-z) == pytest.approx(float(special.ndtr(z)), rel=1e-12)


def test_infinitely_many_degrees_of_freedom_are_the_normal_distribution() -> None:
    assert t_quantile(0.975, df=math.inf) == normal_quantile(0.975)
    assert t_tail(2.0, df=math.inf) == normal_tail(2.0)


# Two-sided 95 %: NIST/SEMATECH e-Handbook, table 1.3.6.7.2, three decimals.
@pytest.mark.parametrize(
    ("df", "t"),
    [(1, 12.706), (2, 4.303), (3, 3.182), (4, 2.776), (5, 2.571), (10, 2.228), (30, 2.042)],
)
def test_quantiles_are_those_of_the_printed_table(df: int, t: float) -> None:
    assert t_quantile(0.975, df=df) == pytest.approx(t, abs=5.01e-4)


@given(t=st.floats(-8.0, 3.0).map(lambda power: 10.0**power))
def test_tails_with_one_and_two_degrees_of_freedom_have_closed_forms(t: float) -> None:
    # 1/2 - arctan(t) / pi and (1 - t / sqrt(2 + t^2)) / 2 (Abramowitz & Stegun 26.7.3, 26.7.4).
    assert t_tail(t, df=1.0) == pytest.approx(math.atan2(1.0, t) / math.pi, rel=1e-13)
    root = math.sqrt(2.0 + t * t)
    assert t_tail(t, df=2.0) == pytest.approx(1.0 / (root * (root + t)), rel=1e-13)


def test_one_degree_of_freedom_is_the_cauchy_distribution() -> None:
    # Closed form: t = tan(pi (1/2 - q)), also next to the median.
    for q in (0.5 - 1e-12, 0.4999, 0.3, 0.25, 0.1, 1e-6):
        assert t_upper_quantile(q, df=1.0) == pytest.approx(math.tan(math.pi * (0.5 - q)), rel=1e-9)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_a_share_outside_0_and_1_is_refused(p: float) -> None:
    with pytest.raises(ValueError, match="a share must lie between"):
        t_quantile(p, df=4)


@pytest.mark.parametrize("df", [0.0, -1.0, math.nan])
def test_degrees_of_freedom_must_be_positive(df: float) -> None:
    with pytest.raises(ValueError, match="degrees of freedom must be positive"):
        t_tail(1.0, df=df)


def test_a_quantile_too_large_for_a_number_is_infinite() -> None:
    assert t_upper_quantile(1e-300, df=0.5) == math.inf
