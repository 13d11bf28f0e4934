"""Outliers by median and by quartiles, which one outlier cannot move far.

Pure. Both count distances in a scale of the middle half of the values. Where more than half of
the values are equal that scale is 0 and the score undefined; so the scale is never less than
what puts a value at the *floor* exactly on the edge. With a floor of 0 such values have no
outlier.

The critical values hold the level for one cell of so many passes, by simulation: see
``harness.rules.critical_values``.
"""

from __future__ import annotations

from collections.abc import Sequence

from harness.rules.critical_values import MODIFIED_Z, TUKEY, critical
from harness.rules.outliers import Outlying, furthest, median, within

#: The upper quartile of the normal distribution, rounded as the source has it.
_NORMAL_QUARTILE = 0.6745


def modified_z(
    values: Sequence[float], *, floor: float, alpha: float = 0.05, more_than: float | None = None
) -> Outlying | None:
    """Return the value furthest from the median, if its modified z score is too large.

    0.6745 (x - median) / MAD, with MAD the median distance from the median. Source: B.
    Iglewicz, D. C. Hoaglin, How to Detect and Handle Outliers, ASQC Quality Press 1993, 3.3.

    Args:
        values: At least four.
        floor: A value no further than this share from the median of the others is never an
            outlier.
        alpha: Level, as a fraction: 0.1, 0.05 or 0.01.
        more_than: The critical score instead (the source has 3.5 for any number of values).
    """
    allowed = more_than if more_than is not None else critical(MODIFIED_Z, len(values), alpha=alpha)
    middle = median(values)
    away = [abs(value - middle) for value in values]
    scale = max(median(away), _NORMAL_QUARTILE * floor * abs(middle) / allowed)
    if scale == 0.0:
        return None
    found = furthest([_NORMAL_QUARTILE * each / scale for each in away], critical=allowed)
    return None if found is None or within(values, found.places[0], floor) else found


def tukey(
    values: Sequence[float], *, floor: float, alpha: float = 0.05, more_than: float | None = None
) -> Outlying | None:
    """Return the value furthest beyond a quartile, if that is too many quartile distances.

    Quartiles are those of Hyndman and Fan's type 7; Tukey's own hinges differ a little.
    Source: J. W. Tukey, Exploratory Data Analysis, Addison-Wesley 1977, 2D; that its constant
    has no level of its own: D. C. Hoaglin, B. Iglewicz, Fine-Tuning Some Resistant Rules for
    Outlier Labeling, Journal of the American Statistical Association 82 (1987) 1147-1149.

    Args:
        values: At least five.
        floor: A value no further than this share from the median of the others is never an
            outlier.
        alpha: Level, as a fraction: 0.1, 0.05 or 0.01.
        more_than: The critical number of quartile distances instead (the source has 1.5).
    """
    allowed = more_than if more_than is not None else critical(TUKEY, len(values), alpha=alpha)
    low, high = quartiles(values)
    beyond = [max(low - value, value - high) for value in values]
    scale = max(high - low, floor * abs(median(values)) / allowed)
    if scale == 0.0:
        return None
    found = furthest([each / scale for each in beyond], critical=allowed)
    return None if found is None or within(values, found.places[0], floor) else found


def quartiles(values: Sequence[float]) -> tuple[float, float]:
    """Return the lower and the upper quartile, Hyndman and Fan's type 7.

    >>> quartiles([1.0, 2.0, 3.0, 4.0])
    (1.75, 3.25)
    """
    ordered = sorted(values)
    found = []
    for numerator in (1, 3):
        rank, part = divmod((len(ordered) - 1) * numerator, 4)
        value = ordered[rank]
        if part:
            value += (ordered[rank + 1] - value) * (part / 4.0)
        found.append(value)
    return found[0], found[1]
