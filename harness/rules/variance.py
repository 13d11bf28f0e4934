"""How variances of normal samples vary: the chi-square and the F distribution.

Pure. Only ``math``, as ``harness.rules.student``; held against scipy in the tests to 1e-9.

The upper tail of F with d1 and d2 degrees of freedom is the regularised incomplete beta function
I_x(d2/2, d1/2) with x = d2 / (d2 + d1 f) (Abramowitz & Stegun 26.6.2); that of chi-square with d
degrees is the regularised incomplete gamma function Q(d/2, x/2) (26.4.19), by its series (NIST
Digital Library of Mathematical Functions 8.7.1) or its continued fraction (8.9.2). Quantiles are
found by bisection.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from harness.rules.student import beta_fraction

_MOST_TERMS = 100_000
_DIGITS = 1e-16


def f_tail(f: float, *, df1: float, df2: float) -> float:
    """Return P(F > f) for F with *df1* and *df2* degrees of freedom, both finite."""
    _check(df1, df2)
    if f <= 0.0:
        return 1.0
    a, b = 0.5 * df2, 0.5 * df1
    x, y = df2 / (df2 + df1 * f), df1 * f / (df2 + df1 * f)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(log_front + a * math.log(x) + b * math.log(y)) if x > 0.0 else 0.0
    if front == 0.0:
        return 0.0 if f > 1.0 else 1.0
    if x < (a + 1.0) / (a + b + 2.0):
        return front / a * beta_fraction(a, b, x)
    return 1.0 - front / b * beta_fraction(b, a, y)


def f_quantile(p: float, *, df1: float, df2: float) -> float:
    """Return the f below which lies the share *p*, 0 < p < 1.

    >>> round(f_quantile(0.95, df1=3, df2=10), 3)
    3.708
    """
    _check(df1, df2)
    return _root(lambda f: f_tail(f, df1=df1, df2=df2), 1.0 - _share(p))


def chi2_tail(x: float, *, df: float) -> float:
    """Return P(X > x) for chi-square with *df* degrees of freedom."""
    _check(df)
    if x <= 0.0:
        return 1.0
    a, half = 0.5 * df, 0.5 * x
    front = math.exp(a * math.log(half) - half - math.lgamma(a))
    if half < a + 1.0:
        term = total = 1.0 / a
        for n in range(1, _MOST_TERMS):
            term *= half / (a + n)
            total += term
            if term < total * _DIGITS:
                break
        return 1.0 - front * total
    # Lentz's algorithm on the continued fraction.
    b = half + 1.0 - a
    c, d = 1e300, 1.0 / b
    value = d
    for n in range(1, _MOST_TERMS):
        part = -n * (n - a)
        b += 2.0
        d = 1.0 / (part * d + b)
        c = b + part / c
        value *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return front * value


def chi2_quantile(p: float, *, df: float) -> float:
    """Return the x below which lies the share *p*, 0 < p < 1.

    >>> round(chi2_quantile(0.95, df=5), 3)
    11.07
    """
    _check(df)
    return _root(lambda x: chi2_tail(x, df=df), 1.0 - _share(p))


def _root(tail: Callable[[float], float], wanted: float) -> float:
    low, high = 0.0, 1.0
    while tail(high) > wanted:
        low, high = high, 2.0 * high
    for _ in range(200):
        middle = 0.5 * (low + high)
        if high - low <= 1e-14 * high:
            break
        if tail(middle) > wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _check(*dfs: float) -> None:
    for df in dfs:
        if not 0.0 < df < math.inf:
            raise ValueError(f"degrees of freedom must be positive and finite, not {df!r}")


def _share(p: float) -> float:
    if not 0.0 < p < 1.0:
        raise ValueError(f"a share must lie between 0 and 1, not {p!r}")
    return p
