"""Evidence -> a margin with its interval and its word.

Pure. A margin is the ratio of geometric means minus one. Its 95 % interval is that of the
logarithm, taken back. The band b reaches from 1/(1+b) - 1 to b: on the logarithm it is the same
length both ways, so that swapping the sides swaps *faster* and *slower* and changes nothing else.

    faster, slower          the 95 % interval lies outside the band
    alike                   the 90 % interval lies inside the band: two one-sided tests at 5 %
                            (D. J. Schuirmann, Journal of Pharmacokinetics and
                            Biopharmaceutics 15 (1987) 657-680)
    alike, small but real   and the 95 % interval does not hold zero
    unresolved              neither

So an effect at the edge of the band is called *alike* at most 5 % of the time, and a true
margin within the band *faster* or *slower* at most 5 %. In a family of rows each of these
promises is corrected by itself: the p-values of the first and of the second are two families.

Which way is better turns the word, never the ratio: of a figure that is better lower, a margin
of -10 % is *faster*.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.plan.document import Better
from harness.rules.student import t_quantile, t_tail
from harness.summary.evidence import Evidence
from harness.summary.families import Correction, corrected
from harness.summary.from_logs import fraction

#: Confidence of the interval that is shown first.
CONFIDENCE = 0.95

#: Of the interval that *alike* is read from.
ALIKE_CONFIDENCE = 0.90

#: Level of every test.
LEVEL = 0.05

#: Less than this between two logarithms is rounding.
ROUNDING = 1e-12


class Word(enum.Enum):
    """What a margin amounts to."""

    FASTER = "faster"
    SLOWER = "slower"
    ALIKE = "alike"
    SMALL_BUT_REAL = "alike, small but real"
    UNRESOLVED = "unresolved"


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """A margin as fractions: 0.112 is 11.2 %.

    Args:
        margin: Ratio of geometric means minus one.
        low: Lower end of its 95 % interval; None where nothing tells a spread, as all below.
        high: Upper end.
        low_90: Lower end of its 90 % interval.
        high_90: Upper end.
        word: After the correction.
        alone: The word that this row would have by itself.
    """

    margin: float
    low: float | None
    high: float | None
    low_90: float | None
    high_90: float | None
    word: Word
    alone: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class PValues:
    """The p-values behind a word.

    Args:
        outside: Two-sided: the margin lies within the band.
        alike: The larger of two one-sided: it lies outside it.
        zero: Two-sided: there is no margin at all.
    """

    outside: float
    alike: float
    zero: float


_NOTHING = PValues(outside=1.0, alike=1.0, zero=1.0)


def margins(
    rows: Sequence[Evidence],
    *,
    band: float,
    better: Sequence[Better],
    correction: Correction = Correction.HOLM,
) -> tuple[Margin, ...]:
    """Return the margin of each row, the words corrected over all of them.

    Args:
        rows: The evidence of each.
        band: Smallest margin worth calling one, a fraction above 0.
        better: Which way each row's figure is better.
        correction: Of the family.
    """
    alone = [p_values(each, band=band) for each in rows]
    outside = corrected([each.outside for each in alone], by=correction)
    alike = corrected([each.alike for each in alone], by=correction)
    zero = corrected([each.zero for each in alone], by=correction)
    families = [
        PValues(outside=o, alike=a, zero=z) for o, a, z in zip(outside, alike, zero, strict=True)
    ]
    return tuple(
        _margin(row, own, family, better=way)
        for row, own, family, way in zip(rows, alone, families, better, strict=True)
    )


def p_values(row: Evidence, *, band: float) -> PValues:
    """Return the p-values of one row by itself."""
    if row.se is None:
        return _NOTHING
    edge, size = math.log1p(band), abs(row.log_ratio)
    return PValues(
        outside=min(1.0, 2.0 * _tail(size - edge, row)),
        alike=_tail(edge - size, row),
        zero=min(1.0, 2.0 * _tail(size, row)),
    )


def interval(row: Evidence, *, confidence: float) -> tuple[float, float] | None:
    """Return the interval of the logarithm of the ratio; None where nothing tells a spread."""
    half = _half_width(row, confidence=confidence)
    return None if half is None else (row.log_ratio - half, row.log_ratio + half)


def word(p: PValues, *, log_ratio: float, better: Better) -> Word:
    """Return the word that the p-values *p* amount to."""
    if p.outside <= LEVEL:
        return Word.FASTER if (log_ratio > 0.0) == (better is Better.HIGHER) else Word.SLOWER
    if p.alike <= LEVEL:
        return Word.SMALL_BUT_REAL if p.zero <= LEVEL else Word.ALIKE
    return Word.UNRESOLVED


def _tail(distance: float, row: Evidence) -> float:
    """Return P(T > distance / se)."""
    assert row.se is not None
    if row.se > 0.0:
        return t_tail(distance / row.se, df=row.df)
    # No spread at all: the values are what they are. At the edge itself nothing is claimed, and
    # what rounding takes the logarithm of a quotient away from it is still at the edge.
    return 0.0 if distance > ROUNDING else 1.0


def _margin(row: Evidence, own: PValues, family: PValues, *, better: Better) -> Margin:
    wide, narrow = (_half_width(row, confidence=each) for each in (CONFIDENCE, ALIKE_CONFIDENCE))
    return margin_of(
        row.log_ratio,
        wide=wide,
        narrow=narrow,
        word=word(family, log_ratio=row.log_ratio, better=better),
        alone=word(own, log_ratio=row.log_ratio, better=better),
    )


def margin_of(
    log_ratio: float, *, wide: float | None, narrow: float | None, word: Word, alone: Word
) -> Margin:
    """Return the margin of a row.

    Args:
        log_ratio: The estimate.
        wide: Half the 95 % interval of it; None: nothing tells a spread.
        narrow: Half the 90 % interval, likewise.
        word: After the correction.
        alone: By itself.
    """
    return Margin(
        margin=fraction(log_ratio),
        low=None if wide is None else fraction(log_ratio - wide),
        high=None if wide is None else fraction(log_ratio + wide),
        low_90=None if narrow is None else fraction(log_ratio - narrow),
        high_90=None if narrow is None else fraction(log_ratio + narrow),
        word=word,
        alone=alone,
    )


def _half_width(row: Evidence, *, confidence: float) -> float | None:
    if row.se is None:
        return None
    return t_quantile(0.5 + 0.5 * confidence, df=row.df) * row.se
