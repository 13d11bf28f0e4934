"""Ratios of many rows -> one geometric mean over titles, with two intervals.

Pure. Ratios are averaged by their geometric mean: it alone does not depend on which side is the
reference (P. J. Fleming, J. J. Wallace, Communications of the ACM 29 (1986) 218-221). The rows
of one title (its scenes, settings, other levels) are averaged first, so that a title with many
settings does not outweigh one with few; weights are of titles.

    these titles          how well this list of titles is known: the noise of passes, and what
                          runs, nights or visits add where they are the unit
    titles like these     t interval over the titles' own logarithms: what another list, drawn
                          like this one, might have given; needs two titles

Titles that were measured in the same runs, nights or visits share what was common to them, so
that their rows are no independent values and more titles do not make it less. There the titles
are averaged within each run (night, visit) first, and the spread of those means counts; it is
added to the second interval, too, which would not see it otherwise. (A title's own noise is in
both parts then: a little wide, never narrow.) What rows rest on different runs is taken to move
together. ``scripts/promises`` measures what comes of it.

Degrees of freedom of sums are Satterthwaite's. With weights w (summing to one) the
second has se^2 = sum w^2 (x - mean)^2 n/(n - 1) with n = 1 / sum w^2: s / sqrt n where they are
equal; for unequal ones an approximation of ours, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.summary.evidence import Evidence, Unit, of_draws


@dataclass(frozen=True, slots=True, kw_only=True)
class OverTitles:
    """The geometric mean over titles.

    Args:
        these: For these titles, as evidence of its own; its unit is what the titles share (run,
            night, visit), and ``PASS`` where they share nothing.
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
    weighted = [(shares[title] / len(of_title[title]), each) for title, each in rows]
    shared = _shared(weighted)
    return OverTitles(
        these=_these(mean, weighted, shared),
        like_these=_like_these(mean, logs, shares, shared),
        titles=len(logs),
        ratios=tuple((title, math.exp(each)) for title, each in logs.items()),
    )


def _these(
    mean: float, rows: Sequence[tuple[float, Evidence]], shared: Sequence[Evidence]
) -> Evidence:
    """Return how well the list is known: *rows* with their weights, those *shared* put together."""
    unit = shared[0].unit if shared else Unit.PASS
    parts: list[tuple[float, float]] = []
    pooled: dict[float, float] = {}
    for weight, each in rows:
        if each.se is None:
            return _overall(mean, None, 0.0, unit)
        if each.draws:
            continue
        if each.pooled_over:  # one variance, known once, however many rows share it
            pooled[each.df] = pooled.get(each.df, 0.0) + (weight * each.se) ** 2
        else:
            parts.append(((weight * each.se) ** 2, each.df))
    parts += [(part, df) for df, part in pooled.items()]
    if shared:
        parts.append(_together(shared))
    return _overall(mean, *_of_parts(parts), unit)


def _shared(rows: Sequence[tuple[float, Evidence]]) -> tuple[Evidence, ...]:
    """Return the weighted sum of the rows that have the same draws, one for each set of draws."""
    groups: dict[object, list[tuple[float, Evidence]]] = {}
    for weight, each in rows:
        if each.draws:
            drawn_in = tuple(frozenset(sample) for sample in each.draws)
            groups.setdefault((each.unit, drawn_in), []).append((weight, each))
    return tuple(
        of_draws(
            *(
                {draw: math.fsum(w * each.draws[n][draw] for w, each in own) for draw in sample}
                for n, sample in enumerate(own[0][1].draws)
            ),
            unit=own[0][1].unit,
        )
        for own in groups.values()
    )


def _together(shared: Sequence[Evidence]) -> tuple[float, float]:
    """Return the variance of what rows share, and its degrees of freedom.

    Sums that rest on different draws are taken to move together: no sum of theirs is wider.
    """
    known = [each for each in shared if each.se is not None]
    se = math.fsum(each.se or 0.0 for each in known)
    return se * se, min(each.df for each in known)


def _of_parts(parts: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the standard error of a sum of independent parts, and its degrees of freedom."""
    square = math.fsum(part for part, _ in parts)
    if square <= 0.0:
        return 0.0, math.fsum(df for _, df in parts)
    df = 1.0 / math.fsum((part / square) ** 2 / df for part, df in parts)
    return math.sqrt(square), df


def _like_these(
    mean: float,
    logs: Mapping[str, float],
    shares: Mapping[str, float],
    shared: Sequence[Evidence],
) -> Evidence | None:
    if len(logs) < 2:
        return None
    n = 1.0 / math.fsum(each * each for each in shares.values())
    if n <= 1.0 + 1e-9:
        return None  # one title has all the weight
    square = math.fsum((shares[title] * (each - mean)) ** 2 for title, each in logs.items())
    parts = [(square * n / (n - 1.0), n - 1.0)]
    if shared:
        if any(each.se is None for each in shared):
            return _overall(mean, None, 0.0, shared[0].unit)
        parts.append(_together(shared))
    return _overall(mean, *_of_parts(parts), shared[0].unit if shared else Unit.PASS)


def _overall(log_ratio: float, se: float | None, df: float, unit: Unit) -> Evidence:
    return Evidence(log_ratio=log_ratio, se=se, df=df, unit=unit, paired=False, spreads=())
