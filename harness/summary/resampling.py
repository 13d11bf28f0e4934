"""The bootstrap of many margins at once: BCa intervals of the difference of mean logarithms.

Pure. Chance is handed in. Needs numpy and scipy. From eight values a side only: with fewer the
resampled means are too few and too narrow for what they promise. BCa after B. Efron, Journal of
the American Statistical Association 82 (1987) 171-185: bias from the share of resamples below
the estimate (half of those at it), acceleration from the jackknife over both samples, ends as
order statistics with linear interpolation.

One set of resamples serves every row: each row's interval is what it would be by itself, and
only the Monte Carlo error of the rows goes together. So a resample of all rows is one product of
matrices, counts × logarithms.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from harness.summary.evidence import Unit
from harness.summary.rows import Row

Floats = npt.NDArray[np.float64]

#: Values a side below which there is no bootstrap.
LEAST = 8

RESAMPLES = 9999

_ROWS_AT_ONCE = 64  # so that what is sorted stays in the processor's cache


def bca(
    base: Floats,
    against: Floats | None,
    *,
    chance: np.random.Generator,
    confidence: float = 0.95,
    resamples: int = RESAMPLES,
) -> tuple[Floats, Floats]:
    """Return both ends of the interval of mean(against) - mean(base), one for each row.

    Args:
        base: Logarithms, rows × values; of pairs: the differences within the rounds, and then
            the interval is of their mean.
        against: Logarithms, rows × values; None for pairs.
        chance: Where the resamples come from.
        confidence: Of the interval.
        resamples: How many.

    Raises:
        ValueError: Fewer than eight values a side.
    """
    sides = [base] if against is None else [-base, against]
    for side in sides:
        if side.shape[1] < LEAST:
            raise ValueError(f"{side.shape[1]} values are too few: at least {LEAST}")
    # Both sides in one product: the base's values count against it.
    values = np.concatenate(sides, axis=1)
    counts = np.concatenate([_counts(side.shape[1], resamples, chance) for side in sides])
    estimate = np.sum([side.mean(axis=1) for side in sides], axis=0)
    acceleration = _acceleration(sides)
    tails = ndtri([0.5 - 0.5 * confidence, 0.5 + 0.5 * confidence])
    low, high = np.empty(len(base)), np.empty(len(base))
    room = np.empty((min(_ROWS_AT_ONCE, len(base)), resamples))  # taken once: new pages cost more
    for start in range(0, len(base), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        means = np.matmul(values[part], counts, out=room[: len(values[part])])
        low[part], high[part] = _ends(means, estimate[part], acceleration[part], tails)
    return low, high


def of_rows(
    rows: Sequence[Row], *, chance: np.random.Generator
) -> tuple[tuple[float, float] | None, ...]:
    """Return the interval of each row's margin; None where a side has fewer than eight values.

    None as well where visits are the unit: there are never eight.
    """
    found: list[tuple[float, float] | None] = [None] * len(rows)
    alike: dict[tuple[bool, int, int], list[int]] = {}
    for place, row in enumerate(rows):
        if row.evidence.unit in (Unit.ROUND, Unit.PASS) and min(row.base.n, row.against.n) >= LEAST:
            alike.setdefault((row.evidence.paired, row.base.n, row.against.n), []).append(place)
    for (is_paired, _, _), places in alike.items():
        base = np.log([rows[place].base.values for place in places])
        against = np.log([rows[place].against.values for place in places])
        low, high = (
            bca(against - base, None, chance=chance)
            if is_paired
            else bca(base, against, chance=chance)
        )
        for place, bottom, top in zip(places, np.expm1(low), np.expm1(high), strict=True):
            found[place] = (float(bottom), float(top))
    return tuple(found)


def _counts(n: int, resamples: int, chance: np.random.Generator) -> Floats:
    """Return how often each value is in each resample, as shares: values × resamples."""
    found: Floats = chance.multinomial(n, np.full(n, 1.0 / n), size=resamples).T / n
    return np.ascontiguousarray(found)


def _acceleration(sides: list[Floats]) -> Floats:
    """Return the acceleration: influence of each value, by the jackknife, over all of them."""
    influences = [(side - side.mean(axis=1, keepdims=True)) / (side.shape[1] - 1) for side in sides]
    sizes = [side.shape[1] for side in sides]
    top = sum(
        (each**3).sum(axis=1) * ((n - 1) / n) ** 3
        for each, n in zip(influences, sizes, strict=True)
    )
    below = sum(
        (each**2).sum(axis=1) * ((n - 1) / n) ** 2
        for each, n in zip(influences, sizes, strict=True)
    )
    assert isinstance(below, np.ndarray)
    found: Floats = np.divide(top, 6.0 * below**1.5, out=np.zeros_like(below), where=below > 0.0)
    return found


def _ends(
    means: Floats, estimate: Floats, acceleration: Floats, tails: Floats
) -> tuple[Floats, Floats]:
    """Return both ends of each row's interval; *means* are left in another order."""
    count = means.shape[1]
    around = estimate[:, np.newaxis]
    below = np.count_nonzero(means < around, axis=1) + np.count_nonzero(means <= around, axis=1)
    bias = ndtri(np.clip(below / (2.0 * count), 0.5 / count, 1.0 - 0.5 / count))
    places = []
    for tail in tails:
        moved = bias + (bias + tail) / (1.0 - acceleration * (bias + tail))
        places.append(np.clip(ndtr(moved) * (count - 1), 0.0, count - 1.0))
    wholes = [np.minimum(place.astype(np.intp), count - 2) for place in places]
    _sort_tails(means, low=int(wholes[0].max()) + 1, high=int(wholes[1].min()))
    rows = np.arange(len(means))
    ends = []
    for place, whole in zip(places, wholes, strict=True):
        lower, upper = means[rows, whole], means[rows, whole + 1]
        ends.append(lower + (place - whole) * (upper - lower))
    return ends[0], ends[1]


def _sort_tails(means: Floats, *, low: int, high: int) -> None:
    """Put each row in order up to the place *low* and from *high* on; between, it is in none.

    A few hundred of ten thousand means are wanted: to part them off takes a third of sorting all.
    """
    if high <= low + 1:
        means.sort(axis=1)
        return
    means.partition(low, axis=1)
    means[:, low + 1 :].partition(high - low - 1, axis=1)
    means[:, : low + 1].sort(axis=1)
    means[:, high:].sort(axis=1)
