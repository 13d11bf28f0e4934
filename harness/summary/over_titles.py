"""Ratios of many rows -> one geometric mean over titles, with two intervals.

Pure. Ratios are averaged by their geometric mean: it alone does not depend on which side is the
reference (P. J. Fleming, J. J. Wallace, Communications of the ACM 29 (1986) 218-221). The rows
of one title (its scenes, settings, other levels) are averaged first, so that a title with many
settings does not outweigh one with few; weights are of titles.

    these titles          pass noise alone: how well this list of titles is known
    titles like these     t interval over the titles' own logarithms: what another list, drawn
                          like this one, might have given; needs two titles

The degrees of freedom of the first are Satterthwaite's. With weights w (summing to one) the
second has se^2 = sum w^2 (x - mean)^2 n/(n - 1) with n = 1 / sum w^2: s / sqrt n where they are
equal; for unequal ones an approximation of ours, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.summary.evidence import Evidence, Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class OverTitles:
    """The geometric mean over titles.

    Args:
        these: For these titles, as evidence of its own (*unit* has no meaning in it).
        like_these: For titles like these, likewise; None with fewer than two titles.
        titles: How many.
        ratios: The ratio of each title, in order.
    """

    these: Evidence
    like_these: Evidence | None
    titles: int
    ratios: tuple[tuple[str, float], ...]


def over_titles(
    rows: Sequence[tuple[str, Evidence]], *, weights: Mapping[str, float] | None = None
) -> OverTitles | None:
    """Return the geometric mean over the titles of *rows*; None where there are no rows.

    Args:
        rows: Title and evidence of each row.
        weights: Weight of each title, positive; one that is not named has 1.
    """
    if not rows:
        return None
    of_title: dict[str, list[Evidence]] = {}
    for title, evidence in rows:
        of_title.setdefault(title, []).append(evidence)
    raw = {title: (weights or {}).get(title, 1.0) for title in of_title}
    total = math.fsum(raw.values())
    shares = {title: each / total for title, each in raw.items()}
    logs = {
        title: math.fsum(each.log_ratio for each in own) / len(own)
        for title, own in of_title.items()
    }
    mean = math.fsum(shares[title] * logs[title] for title in logs)
    return OverTitles(
        these=_these(mean, of_title, shares),
        like_these=_like_these(mean, logs, shares),
        titles=len(logs),
        ratios=tuple((title, math.exp(each)) for title, each in logs.items()),
    )


def _these(
    mean: float, of_title: Mapping[str, Sequence[Evidence]], shares: Mapping[str, float]
) -> Evidence:
    parts: list[tuple[float, float]] = []
    for title, own in of_title.items():
        weight = (shares[title] / len(own)) ** 2
        pooled: dict[float, float] = {}
        for each in own:
            if each.se is None:
                return _overall(mean, None, 0.0)
            if each.pooled_over:  # one variance, known once, however many rows share it
                pooled[each.df] = pooled.get(each.df, 0.0) + weight * each.se**2
            else:
                parts.append((weight * each.se**2, each.df))
        parts += [(part, df) for df, part in pooled.items()]
    square = math.fsum(part for part, _ in parts)
    if square <= 0.0:
        return _overall(mean, 0.0, math.fsum(df for _, df in parts))
    df = 1.0 / math.fsum((part / square) ** 2 / df for part, df in parts)
    return _overall(mean, math.sqrt(square), df)


def _like_these(
    mean: float, logs: Mapping[str, float], shares: Mapping[str, float]
) -> Evidence | None:
    if len(logs) < 2:
        return None
    n = 1.0 / math.fsum(each * each for each in shares.values())
    if n <= 1.0 + 1e-9:
        return None  # one title has all the weight
    square = math.fsum((shares[title] * (each - mean)) ** 2 for title, each in logs.items())
    return _overall(mean, math.sqrt(square * n / (n - 1.0)), n - 1.0)


def _overall(log_ratio: float, se: float | None, df: float) -> Evidence:
    return Evidence(log_ratio=log_ratio, se=se, df=df, unit=Unit.PASS, paired=False, spreads=())
