"""Margins of many rows at once: the same arithmetic as ``margins``, on arrays.

Pure. Needs numpy and scipy (the extra ``analysis``), imported by whoever imports this. Held
equal to ``evidence`` and ``margins`` by the tests. ``of_rows`` is what a comparison of very many
rows takes (``harness.summary.comparison``): with fewer, importing scipy takes longer than it saves.
``welch`` and ``paired`` are for whole arrays, where every cell of a side has the same number of
passes: promises are simulated with them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtr, stdtrit

from harness.plan.document import Better
from harness.summary.evidence import Evidence
from harness.summary.families import Correction
from harness.summary.margins import (
    ALIKE_CONFIDENCE,
    CONFIDENCE,
    LEVEL,
    Margin,
    PValues,
    Word,
    margin_of,
    p_values,
    word,
)

Floats = npt.NDArray[np.float64]

#: Words by the number that stands for them in ``ManyMargins.words``; better is higher.
WORDS = (Word.UNRESOLVED, Word.FASTER, Word.SLOWER, Word.ALIKE, Word.SMALL_BUT_REAL)


def _fraction(log_ratio: Floats) -> Floats:
    """Return margins, as ``from_logs.fraction`` does one."""
    found: Floats = np.expm1(np.minimum(log_ratio, 700.0))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyEvidence:
    """As ``Evidence``: one number for each row."""

    log_ratio: Floats
    se: Floats
    df: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class ManyMargins:
    """As ``Margin``: one number for each row; ``words`` are places in ``WORDS``."""

    margin: Floats
    low: Floats
    high: Floats
    low_90: Floats
    high_90: Floats
    words: npt.NDArray[np.int8]


def welch(base: Floats, against: Floats) -> ManyEvidence:
    """Return the evidence of two independent samples in each row.

    Args:
        base: Values, rows × passes, all above 0, at least two passes.
        against: Likewise; the number of passes may be another.
    """
    first, second = np.log(base), np.log(against)
    part_a, part_b = _variance_of_mean(first), _variance_of_mean(second)
    total = part_a + part_b
    share = np.divide(part_a, total, out=np.full_like(total, 0.5), where=total > 0.0)
    n, m = base.shape[1], against.shape[1]
    df = 1.0 / (share * share / (n - 1) + (1.0 - share) ** 2 / (m - 1))
    return ManyEvidence(
        log_ratio=second.mean(axis=1) - first.mean(axis=1), se=np.sqrt(total), df=df
    )


def paired(base: Floats, against: Floats) -> ManyEvidence:
    """Return the evidence of rounds: column k of both sides was measured in one round."""
    differences = np.log(against) - np.log(base)
    rounds = differences.shape[1]
    return ManyEvidence(
        log_ratio=differences.mean(axis=1),
        se=np.sqrt(_variance_of_mean(differences)),
        df=np.full(len(differences), rounds - 1.0),
    )


def margins(
    rows: ManyEvidence, *, band: float, correction: Correction = Correction.HOLM
) -> ManyMargins:
    """Return the margins of all rows, their words corrected as one family.

    Args:
        rows: Evidence, every standard error above 0.
        band: Smallest margin worth calling one.
        correction: Of the family.
    """
    edge, size = np.log1p(band), np.abs(rows.log_ratio)
    outside = np.minimum(1.0, 2.0 * stdtr(rows.df, (edge - size) / rows.se))
    alike = stdtr(rows.df, (size - edge) / rows.se)
    zero = 2.0 * stdtr(rows.df, -size / rows.se)
    outside, alike, zero = (_corrected(p, correction) for p in (outside, alike, zero))
    half = _quantile(rows.df, CONFIDENCE) * rows.se
    half_90 = _quantile(rows.df, ALIKE_CONFIDENCE) * rows.se
    faster = rows.log_ratio > 0.0
    words = np.select(
        [outside <= LEVEL, alike <= LEVEL],
        [np.where(faster, 1, 2), np.where(zero <= LEVEL, 4, 3)],
        default=0,
    ).astype(np.int8)
    return ManyMargins(
        margin=_fraction(rows.log_ratio),
        low=_fraction(rows.log_ratio - half),
        high=_fraction(rows.log_ratio + half),
        low_90=_fraction(rows.log_ratio - half_90),
        high_90=_fraction(rows.log_ratio + half_90),
        words=words,
    )


def of_rows(
    rows: Sequence[Evidence],
    *,
    band: float,
    better: Sequence[Better],
    correction: Correction = Correction.HOLM,
) -> tuple[Margin, ...]:
    """Return what ``harness.summary.margins.margins`` does, all rows at once."""
    regular = np.array([row.se is not None and row.se > 0.0 for row in rows], dtype=bool)
    log_ratio = np.array([row.log_ratio for row in rows])
    # What has no spread is no number for an array: such rows are worked out one by one.
    se = np.array([row.se or 1.0 for row in rows])
    df = np.array([row.df if row.df > 0.0 else 1.0 for row in rows])
    edge, size = np.log1p(band), np.abs(log_ratio)
    alone = [
        np.minimum(1.0, 2.0 * stdtr(df, (edge - size) / se)),
        stdtr(df, (size - edge) / se),
        np.minimum(1.0, 2.0 * stdtr(df, -size / se)),
    ]
    for place in np.flatnonzero(~regular).tolist():
        p = p_values(rows[place], band=band)
        for family, value in zip(alone, (p.outside, p.alike, p.zero), strict=True):
            family[place] = value
    together = [_corrected(family, correction) for family in alone]
    half, half_90 = (_quantile(df, each) * se for each in (CONFIDENCE, ALIKE_CONFIDENCE))
    made = []
    for place, (row, way) in enumerate(zip(rows, better, strict=True)):
        words = [
            word(
                PValues(outside=o[place], alike=a[place], zero=z[place]),
                log_ratio=row.log_ratio,
                better=way,
            )
            for o, a, z in (together, alone)
        ]
        none = None if row.se is None else 0.0
        wide, narrow = (float(each[place]) if regular[place] else none for each in (half, half_90))
        made.append(
            margin_of(row.log_ratio, wide=wide, narrow=narrow, word=words[0], alone=words[1])
        )
    return tuple(made)


def _variance_of_mean(logs: Floats) -> Floats:
    n = logs.shape[1]
    found: Floats = logs.var(axis=1, ddof=1) / n
    return found


def _quantile(df: Floats, confidence: float) -> Floats:
    if df.size and df.min() == df.max():  # as of pairs, and of pooled rows: asked once
        return np.full_like(df, stdtrit(df[0], 0.5 + 0.5 * confidence))
    found: Floats = stdtrit(df, 0.5 + 0.5 * confidence)
    return found


def _corrected(p: Floats, by: Correction) -> Floats:
    """Return *p* corrected, as ``families.corrected`` does."""
    if by is Correction.NONE:
        return p
    count = len(p)
    order = np.argsort(p, kind="stable")
    if by is Correction.HOLM:
        ranked = np.maximum.accumulate(np.minimum(1.0, (count - np.arange(count)) * p[order]))
    else:
        scaled = np.minimum(1.0, p[order] * count / np.arange(1, count + 1))
        ranked = np.minimum.accumulate(scaled[::-1])[::-1]
    found = np.empty_like(p)
    found[order] = ranked
    return found
