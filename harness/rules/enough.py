"""How many passes are enough: fixed before a cell is measured, never by stopping at a success.

Pure. A cell that is measured until its interval happens to be narrow enough has an interval that
promises too much. So the number is fixed beforehand, for a wanted half-width d of the interval
(a fraction of the cell's mean), in one of two ways.

*From history*: the spread s of earlier passes, pooled over cells, with f degrees of freedom. n is
the least with t(n - 1) s sqrt(F(80 %; n - 1, f) / n) <= d: four cells in five then end within d,
the fifth is *wide*. That the spread of n passes itself varies is what F stands for; without it
half of the cells would end wide. Source of the idea: L. L. Kupper, K. B. Hafner, How Appropriate
Are Popular Sample Size Formulas?, The American Statistician 43 (1989) 101-105.

*In two stages*: the first kept passes are a pilot of n0, with spread s; n is the least, and no
less than n0, with t(n0 - 1) s / sqrt(n) <= d. Source: C. Stein, A Two-Sample Test for a Linear
Hypothesis Whose Power Is Independent of the Variance, Annals of Mathematical Statistics 16 (1945)
243-258. The interval of such a cell is t(n0 - 1) s / sqrt(n) around the mean of all n, with the
*pilot's* spread (``two_stage_half_width``): it keeps its promise exactly. The usual interval over
all n does not: with a pilot of three it covers 91 % where it says 95 % (scripts/promises).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.student import t_quantile
from harness.rules.variance import f_tail

CONFIDENCE = 0.95

#: The share of cells that are to end within the wanted half-width.
ASSURANCE = 0.8

#: With fewer degrees of freedom earlier passes do not tell the spread.
LEAST_DF = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How many kept passes a cell is to have, and why.

    Args:
        passes: The number: at least ``keep``, at most ``at_most`` of the plan.
        reason: In words, for the record.
        needed: What would be needed, where that is more than ``at_most``; None: over 1000.
        sd: The relative spread that it was worked out from; None: none was known.
        df: Degrees of freedom of that spread.
    """

    passes: int
    reason: str
    needed: int | None
    sd: float | None = None
    df: int = 0


_MOST = 1000


def from_history(
    sd: float | None,
    *,
    df: int,
    half_width: float,
    keep: int,
    at_most: int,
    confidence: float = CONFIDENCE,
) -> Wanted:
    """Return how many passes are enough, by the spread of earlier ones.

    Args:
        sd: Their relative standard deviation, pooled over cells; None: there are none.
        df: Degrees of freedom that it has. Below four it is not believed: ``keep`` passes.
        half_width: Wanted, as a fraction of the mean.
        keep: The least number.
        at_most: The largest: counted passes that the cell may have.
        confidence: Of the interval.
    """
    if sd is None or df < LEAST_DF:
        why = f"earlier passes do not tell the spread ({df} degrees of freedom, {LEAST_DF} are "
        return Wanted(passes=keep, reason=f"{keep} passes: {why}needed)", needed=keep)

    def holds(n: int) -> bool:
        allowed = half_width * math.sqrt(n) / t_quantile(0.5 + 0.5 * confidence, df=n - 1)
        return sd == 0.0 or f_tail((allowed / sd) ** 2, df1=n - 1, df2=df) <= 1.0 - ASSURANCE

    sizes = range(max(2, keep), _MOST + 1)
    place = bisect_left(sizes, True, key=holds)  # more passes never make it wider
    needed = sizes[place] if place < len(sizes) else None
    origin = f"a spread of {100.0 * sd:.2g} % over earlier passes ({df} degrees of freedom)"
    return _capped(needed, keep, at_most, sd=sd, df=df, half_width=half_width, origin=origin)


def from_pilot(
    pilot: Sequence[float],
    *,
    half_width: float,
    keep: int,
    at_most: int,
    confidence: float = CONFIDENCE,
) -> Wanted:
    """Return how many passes are enough, by Stein's two stages.

    Args:
        pilot: The figure of the first kept passes, after the discard rules had their say.
        half_width: Wanted, as a fraction of the mean.
        keep: The least number.
        at_most: The largest: counted passes that the cell may have.
        confidence: Of the interval.
    """
    sd = _relative_sd(pilot)
    if sd is None:
        reason = f"{keep} passes: a pilot of {len(pilot)} does not tell the spread"
        return Wanted(passes=keep, reason=reason, needed=keep)
    df = len(pilot) - 1
    t = t_quantile(0.5 + 0.5 * confidence, df=df)
    # A hair less, so that rounding asks for no pass more.
    needed = math.ceil((t * sd / half_width) ** 2 * (1.0 - 1e-12))
    origin = f"a spread of {100.0 * sd:.2g} % over a pilot of {len(pilot)} passes"
    return _capped(
        max(needed, len(pilot)), keep, at_most, sd=sd, df=df, half_width=half_width, origin=origin
    )


def two_stage_half_width(
    pilot: Sequence[float], n: int, *, mean: float, confidence: float = CONFIDENCE
) -> float | None:
    """Return half the interval of a cell whose number of passes *pilot* fixed.

    None: the pilot does not tell the spread.

    Args:
        pilot: The figure of the passes that fixed it.
        n: How many passes there are in all, those of the pilot among them.
        mean: Of all of them; the interval is in its unit.
        confidence: Of the interval.
    """
    sd = _relative_sd(pilot)
    if sd is None:
        return None
    t = t_quantile(0.5 + 0.5 * confidence, df=len(pilot) - 1)
    return t * sd * abs(mean) / math.sqrt(n)


def is_wide(mean: float, reached: float | None, *, half_width: float) -> bool:
    """Return whether a cell ended wider than wanted.

    Args:
        mean: Of the cell.
        reached: Half its interval, in the same unit; None, as of a single pass, is wide.
        half_width: Wanted, as a fraction of the mean.
    """
    return reached is None or not reached <= half_width * abs(mean) * (1.0 + 1e-9)


def _capped(
    needed: int | None,
    keep: int,
    at_most: int,
    *,
    sd: float,
    df: int,
    half_width: float,
    origin: str,
) -> Wanted:
    passes = min(max(keep, needed if needed is not None else at_most), at_most)
    aim = f"for ± {100.0 * half_width:.3g} %"
    reason = f"{passes} passes {aim}, by {origin}"
    if needed is None or needed > passes:
        more = f"{needed}" if needed is not None else f"more than {_MOST}"
        reason += f"; {more} would be needed, and at_most is {at_most}"
    return Wanted(passes=passes, reason=reason, needed=needed, sd=sd, df=df)


def _relative_sd(values: Sequence[float]) -> float | None:
    """Return the standard deviation over the mean; None for too few, or no positive mean."""
    n = len(values)
    if n < 2:
        return None
    mean = math.fsum(values) / n
    if not mean > 0.0:
        return None
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (n - 1)) / mean
