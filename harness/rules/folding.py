"""Frames folded on the period of the harness's looks: what stands out at one place of it?

Pure. Where nobody knows when the first frame began, the looks are at an unknown place of the
period, but at the same one every time. The time of the frames is cut into periods, laid one
upon another: what comes at every look stands out at one place, what does not is spread evenly.
A search for that place finds something in any noise, so it is never taken at its word:

- *The cost is unbiased* where the looks cost nothing. The place is looked for in every second
  period, and the cost taken at that place of the others; then the other way round; the mean of
  both counts. Chance at the one place knows nothing of chance at the other (*cross-fitting*:
  the two-fold form of sample splitting, D. R. Cox, Biometrika 62 (1975) 441).
- *Found* is said only where both halves find the same place, and all periods together stand
  out there by more than the largest of so many places would by chance once in a hundred
  (Bonferroni's bound).
- *Not found*, the interval is that of every place that it can be, from the lowest to the
  highest: whichever is the true one, its own interval is inside. The search is made on values
  cut off far outside the middle, or one long frame would hide all else.

A title may do a little between two frames that its capture does not hold. Then the frames run
ahead of the clock, and the place drifts. Every drift of up to ``BLOCKS`` steps over the pass is
tried too, all at once by adding blocks of periods in pairs (D. H. Staelin, Proc. IEEE 57 (1969)
724; J. H. Taylor, Astron. Astrophys. Suppl. 15 (1974) 367).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import chain
from operator import add, itemgetter

from harness.rules.standing_out import StandsOut, beyond, error_of_mean, held, reach
from harness.rules.student import normal_quantile, t_quantile

Row = list[float]

BLOCKS = 16  #: of periods, at most; a power of two
CHANCE = 0.01  #: that something is called found where nothing is
CONTROLS = 16  #: values of a period that are held against the one
LOOKED_AT = 2048  #: values that give the middle and the spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Folded:
    """What was found, ms: a mean for each period. *found* is false where chance explains it."""

    cost_ms: float
    low_ms: float
    high_ms: float
    found: bool


def folded(
    rows: Sequence[Row], *, places: Sequence[int], width: int, drifts: bool, confidence: float
) -> Folded:
    """Return what stands out at one of *places*.

    Args:
        rows: Values of each period, all of one length; four periods at least.
        places: Which values of a period can be the ones, in order; two at least.
        width: Values on either side of a place that share frames with it.
        drifts: Whether the place may move (see above).
        confidence: Of the interval.
    """
    count, long = len(rows), len(rows[0])
    assert count >= 4 and long > 2 * width + 1, "the caller sees to it"
    some = list(chain.from_iterable(rows))[:: max(1, count * long // LOOKED_AT)]
    low, high = reach(some)
    cut = [held(row, low, high) for row in rows]
    blocks = min(BLOCKS, 1 << (count // 2).bit_length() - 1)
    pick: Callable[[Row], Row] = itemgetter(*places)
    halves = [_drifting(cut[side::2], blocks, drifts=drifts) for side in (0, 1)]
    both = [list(map(add, *pair)) for pair in zip(*halves, strict=True)]
    best = [_best(profiles, pick) for profiles in (*halves, both)]
    at = [(drift, places[place]) for drift, place, _ in best]

    def against(side: int, drift: int, place: int) -> tuple[Row, Row]:
        half = rows[side::2]
        starts = [place - shift for shift in _shifts(drift, blocks, len(half))]
        own = [row[start % long] for row, start in zip(half, starts, strict=True)]
        step = max(1, (long - 2 * width) // CONTROLS)
        away = range(width + 1, long - width, step)
        pairs = zip(half, starts, strict=True)
        return own, [row[(start + by) % long] for row, start in pairs for by in away]

    def cost(even: tuple[int, int], odd: tuple[int, int]) -> StandsOut:
        ours, theirs = zip(against(0, *even), against(1, *odd), strict=True)
        return beyond(list(chain(*ours)), list(chain(*theirs)))

    crossed = cost(at[1], at[0])
    mean = sum(map(sum, cut)) / (count * long)
    error = error_of_mean(held(some, low, high)) * math.sqrt(len(some) / count)
    scale = long / (long - 2 * width - 1)  # a place is in the mean that it is held against
    highest = (best[2][2] / count - mean) * scale
    # The same place at the beginning of the pass and at its end, as far as values share frames.
    begins, ends = at[0][1] - at[1][1], (at[0][1] - at[0][0]) - (at[1][1] - at[1][0])
    same = all(min(apart % long, -apart % long) <= width for apart in (begins, ends))
    if same and highest > error * normal_quantile(1.0 - CHANCE / (len(places) * len(both))):
        once = cost(at[2], at[2])
        half_ms = t_quantile((1.0 + confidence) / 2.0, df=count - 1) * once.error_ms
        low_ms, high_ms = once.mean_ms - half_ms, once.mean_ms + half_ms
        return Folded(cost_ms=once.mean_ms, low_ms=low_ms, high_ms=high_ms, found=True)
    half_ms = error * normal_quantile((1.0 + confidence) / 2.0)
    lowest = (min(min(pick(profile)) for profile in both) / count - mean) * scale
    return Folded(
        cost_ms=crossed.mean_ms,
        low_ms=min(crossed.mean_ms, lowest - half_ms),
        high_ms=max(crossed.mean_ms, highest + half_ms),
        found=False,
    )


def _best(profiles: Sequence[Row], pick: Callable[[Row], Row]) -> tuple[int, int, float]:
    """Return the drift and the number of the place with the highest value, and that value."""
    tops = [max(pick(profile)) for profile in profiles]
    drift = max(range(len(tops)), key=tops.__getitem__)
    return drift, pick(profiles[drift]).index(tops[drift]), tops[drift]


def _drifting(rows: Sequence[Row], blocks: int, *, drifts: bool) -> list[Row]:
    """Return the sums of *rows* over each other: a profile for every drift, from none on."""
    of_block = _blocks(len(rows), blocks)
    level: list[list[Row]] = []
    for block in range(blocks):
        own = [row for row, each in zip(rows, of_block, strict=True) if each == block]
        level.append([reduce(_sum, own)])
    while len(level) > 1:
        level = [
            [
                list(map(add, early[drift // 2], _later(late[drift // 2], drift - drift // 2)))
                for drift in range(2 * len(early) if drifts else 1)
            ]
            for early, late in zip(level[::2], level[1::2], strict=True)
        ]
    return level[0]


def _sum(one: Row, other: Row) -> Row:
    return list(map(add, one, other))


def _later(row: Row, steps: int) -> Row:
    """Return *row* with every value so many steps later, the last ones first."""
    return row[-steps:] + row[:-steps] if steps else row


def _blocks(rows: int, blocks: int) -> list[int]:
    return [row * blocks // rows for row in range(rows)]


def _shifts(drift: int, blocks: int, rows: int) -> list[int]:
    """Return by how many steps the place is earlier in each row, after a drift of the profile.

    The first block is where it was, the last *drift* steps on: a straight line through both.
    """
    rise = drift / max(1, blocks - 1)
    return [max(0, round(rise * (blocks * (row + 0.5) / rows - 0.5))) for row in range(rows)]
