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
