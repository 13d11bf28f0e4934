"""Where one level tops out at a common rate over settings while another level goes on.

Pure. Settings are ordered by the rate of the other level (the one that is fastest over all).
Below the change-point the level goes up with the other one, at a constant ratio; from it on it
stays at one rate, the ceiling:

    ln rate = ln other + a      before the change-point
    ln rate = c                 from it on

The change-point is that of the least residual variance (least squares on the cells' mean
logarithms; D. V. Hinkley, Biometrika 57 (1970) 1-17, for a change in mean). It counts as a
ceiling only where at least two settings stand on it, their rates lie within the band of each
other, and the other level goes on by more than the band, from above the ceiling: that is what
tells a ceiling from two settings that merely are equally heavy. A work that adds to a transfer,
instead of waiting for it, bends gently towards the ceiling: then the rate found is a little below
it.

The interval of the ceiling is Student's t of the mean over its settings, from the spread of
passes within them, pooled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.student import t_quantile
from harness.summary.from_logs import ratio

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class RateAt:
    """The rates of one setting.

    Args:
        setting: Its name.
        other: The other level's rate, geometric mean, above 0.
        rates: This level's rate in each pass, above 0.
    """

    setting: str
    other: float
    rates: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """A ceiling.

    Args:
        rate: The common rate.
        low: Lower end of its 95 % interval; None where no setting has two passes.
        high: Upper end.
        settings: Those on it, the slowest of the other level first.
        apart: Largest distance of their rates, as a fraction.
        other_from: The other level's rate at the first of them.
        other_to: At the last.
    """

    rate: float
    low: float | None
    high: float | None
    settings: tuple[str, ...]
    apart: float
    other_from: float
    other_to: float


def plateau(rates: Sequence[RateAt], *, band: float) -> Plateau | None:
    """Return the ceiling of a level; None where it has none.

    Args:
        rates: One for each setting, in any order.
        band: The smallest difference worth calling one, as a fraction.
    """
    ordered = sorted(rates, key=lambda each: each.other)
    logs = [math.fsum(map(math.log, each.rates)) / len(each.rates) for each in ordered]
    others = [math.log(each.other) for each in ordered]
    edge = math.log1p(band)
    best: tuple[float, int] | None = None
    for first in range(len(ordered) - 1):
        if not _holds(logs[first:], others[first:], edge):
            continue
        candidate = (_residual(logs, others, first), first)
        if best is None or candidate < best:
            best = candidate
    return None if best is None else _plateau(ordered[best[1] :], logs[best[1] :])


def _holds(logs: Sequence[float], others: Sequence[float], edge: float) -> bool:
    level = math.fsum(logs) / len(logs)
    return (
        max(logs) - min(logs) <= edge and others[-1] - others[0] > edge and others[0] > level - edge
    )


def _residual(logs: Sequence[float], others: Sequence[float], first: int) -> float:
    """Return the residual variance with the change-point before the setting *first*."""
    steps = [own - other for own, other in zip(logs[:first], others[:first], strict=True)]
    squares = _squares(steps) + _squares(logs[first:])
    left = len(logs) - 1 - bool(steps)
    return squares / left if left > 0 else math.inf


def _squares(values: Sequence[float]) -> float:
    if not values:
        return 0.0
    mean = math.fsum(values) / len(values)
    return math.fsum((each - mean) ** 2 for each in values)


def _plateau(members: Sequence[RateAt], means: Sequence[float]) -> Plateau:
    level = math.fsum(means) / len(means)
    df = sum(len(each.rates) - 1 for each in members)
    low = high = None
    if df:
        squares = math.fsum(
            (math.log(rate) - mean) ** 2
            for each, mean in zip(members, means, strict=True)
            for rate in each.rates
        )
        of_mean = math.fsum(1.0 / len(each.rates) for each in members) / len(members) ** 2
        half = t_quantile(0.5 + 0.5 * CONFIDENCE, df=df) * math.sqrt(squares / df * of_mean)
        low, high = ratio(level - half), ratio(level + half)
    return Plateau(
        rate=math.exp(level),
        low=low,
        high=high,
        settings=tuple(each.setting for each in members),
        apart=math.expm1(max(means) - min(means)),
        other_from=members[0].other,
        other_to=members[-1].other,
    )
