"""One figure over the passes of a cell: mean, spread, interval.

Pure. The mean over passes is the arithmetic mean of the value that each pass gave, with
every pass of equal weight (``mean-of-passes/1``). For average frame rates that is the rate
over all passes where they are equally long in time, as passes with one ``cut`` are; a title
that renders a fixed number of frames has passes of unequal length, and there the mean of
the rates is larger than all frames over all time, by the square of the relative spread: a
spread of 2 % makes it 0.04 % larger.

The spread is the sample standard deviation (n - 1). The interval is the mean +- t s / sqrt n
with the two-sided 95 % quantile of Student's t, n - 1 degrees of freedom: it says how well
these passes fix their own mean, and takes them for independent and about normal (NIST/
SEMATECH e-Handbook of Statistical Methods, 1.3.5.2). With one pass there is neither.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.judgement import Figure
from harness.rules.student import t_quantile

#: Confidence of every interval shown with a cell.
CONFIDENCE = 0.95

#: How the values of several passes become one.
COMBINED = "mean-of-passes/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One figure over the passes of one cell and group.

    Args:
        name: The figure's name.
        unit: Its unit; ``mean``, ``sd`` and ``half_width`` are in it.
        definition: Name and version of the figure's definition.
        mean: Arithmetic mean of the passes' values; None: not measured.
        sd: Sample standard deviation; None with fewer than two values.
        n: How many passes have a value.
        half_width: Half the 95 % interval of the mean; None with fewer than two values.
        confidence: Of that interval, as a fraction.
        missing: How many passes have no value.
        why: Why something is None; None where nothing is.
        interval: How the interval was made: ``student/1`` over all values, or
            ``two-stage/1``, with the spread of the pilot that fixed their number.
    """

    name: str
    unit: str
    definition: str
    mean: float | None
    sd: float | None
    n: int
    half_width: float | None
    confidence: float = CONFIDENCE
    missing: int = 0
    why: str | None = None
    interval: str = "student/1"


def estimate(figures: Sequence[Figure], *, passes: int) -> Estimate:
    """Return one figure over several passes.

    Passes whose figure has another definition or unit are never averaged: then nothing is
    measured, and ``why`` names them.

    Args:
        figures: The same figure of each pass that has it, at least one.
        passes: How many passes there are.

    Raises:
        ValueError: no figures, or not all of one name.
    """
    names = {figure.name for figure in figures}
    if len(names) != 1:
        raise ValueError(f"one figure is wanted, not {sorted(names)}")
    kinds = sorted({(figure.definition, figure.unit) for figure in figures})
    values = [figure.value for figure in figures if figure.value is not None]
    if len(kinds) > 1:
        shown = ", ".join(f"{definition} in {unit or 'no unit'}" for definition, unit in kinds)
        return _nothing(figures[0], passes, why=f"the passes do not share one definition: {shown}")
    if not values:
        whys = sorted({figure.why or "no reason given" for figure in figures})
        return _nothing(figures[0], passes, why="; ".join(whys))
    mean, sd = mean_and_sd(values)
    n = len(values)
    return Estimate(
        name=figures[0].name,
        unit=figures[0].unit,
        definition=figures[0].definition,
        mean=mean,
        sd=sd,
        n=n,
        half_width=half_width(sd, n) if sd is not None else None,
        missing=passes - n,
        why="one pass has no spread" if sd is None else None,
    )


def mean_and_sd(values: Sequence[float]) -> tuple[float, float | None]:
    """Return the mean and the sample standard deviation (None for one value).

    In two passes over the values, so that no digits are lost where the spread is small
    beside the mean.
    """
    n = len(values)
    mean = math.fsum(values) / n
    if n < 2:
        return mean, None
    mean += math.fsum(value - mean for value in values) / n
    return mean, math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (n - 1))


def half_width(sd: float, n: int, *, confidence: float = CONFIDENCE) -> float:
    """Return half the two-sided interval of a mean of *n* values, n at least 2.

    >>> round(half_width(1.0, 5), 4)
    1.2417
    """
    return t_quantile(0.5 + 0.5 * confidence, df=n - 1) * sd / math.sqrt(n)


def _nothing(figure: Figure, passes: int, *, why: str) -> Estimate:
    return Estimate(
        name=figure.name,
        unit=figure.unit,
        definition=figure.definition,
        mean=None,
        sd=None,
        n=0,
        half_width=None,
        missing=passes,
        why=why,
    )
