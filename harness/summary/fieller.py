"""Fieller's interval for a ratio of arithmetic means: a check on that of the logarithms.

Pure. With g = t^2 v_b / b^2 (variances of the *means*, not of single values)

    [ r -+ (t / b) sqrt(v_a + r^2 v_b - g v_a) ] / (1 - g),   r = a / b

(E. C. Fieller, Journal of the Royal Statistical Society B 16 (1954) 175-185; V. H. Franz,
arXiv:0710.2024). With g of one or more the denominator is not told from zero, and there is no
finite interval.
"""

from __future__ import annotations

import math

from harness.rules.student import t_quantile
from harness.summary.rows import Row


def ratio_interval(
    a: float, b: float, *, var_a: float, var_b: float, df: float, confidence: float = 0.95
) -> tuple[float, float] | None:
    """Return the interval of a / b; None where it is not finite.

    Args:
        a: Mean above the line.
        b: Mean below it, not 0.
        var_a: Variance of the mean *a*.
        var_b: Variance of the mean *b*.
        df: Degrees of freedom of both.
        confidence: Of the interval.
    """
    t = t_quantile(0.5 + 0.5 * confidence, df=df)
    g = t * t * var_b / (b * b)
    if not g < 1.0:
        return None
    r = a / b
    half = abs(t / b) * math.sqrt(max(0.0, var_a + r * r * var_b - g * var_a))
    return (r - half) / (1.0 - g), (r + half) / (1.0 - g)


def fieller(row: Row) -> tuple[float, float] | None:
    """Return the interval of the ratio of arithmetic means, minus one; None: it does not apply.

    It is of two samples with a spread of their own, one value for each pass.
    """
    evidence = row.evidence
    if evidence.paired or evidence.pooled_over or not evidence.se or evidence.df <= 0.0:
        return None
    if evidence.n != (row.base.n, row.against.n):
        return None  # visits, runs: the values are means of several passes
    if any(each.df != each.n - 1 for each in evidence.spreads):
        return None  # the spread is that of the passes that fixed how many there are
    means, variances = [], []
    for side in (row.base, row.against):
        mean = sum(side.values) / side.n
        means.append(mean)
        variances.append(sum((x - mean) ** 2 for x in side.values) / (side.n - 1) / side.n)
    found = ratio_interval(
        means[1], means[0], var_a=variances[1], var_b=variances[0], df=evidence.df
    )
    return None if found is None else (found[0] - 1.0, found[1] - 1.0)
