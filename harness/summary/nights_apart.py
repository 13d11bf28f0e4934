"""Whether a run's nights lie apart by more than the passes within one.

Pure. What is common to the passes of a night (the room, a boot, who was at the rig) is one draw
for all of them. Where it moves, an interval that counts passes is too narrow; differences within
rounds lose it again, unless it moves the two sides differently. The test is F of a one-way
analysis of variance, its groups the nights of each side (``harness.summary.one_way``). With few
nights it sees little: that nights are not told apart does not make them alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from harness.rules.variance import f_tail
from harness.summary.one_way import group, one_way

#: Below this p-value a row is flagged.
LEVEL = 0.05

_Night = TypeVar("_Night")


@dataclass(frozen=True, slots=True, kw_only=True)
class NightsApart:
    """How many nights there are, and the chance of what lies between them if they were alike."""

    nights: int
    p: float | None  #: None: one pass a night, or no spread within them


def nights_apart(
    samples: Sequence[Mapping[_Night, Sequence[float]]],
) -> NightsApart | None:
    """Return what the nights of one or two samples say; None where no sample has two.

    Args:
        samples: Run and night -> its values; of each side, or of the differences within rounds.
    """
    nights = len({night for sample in samples for night in sample})
    several = [
        one_way([group(values) for values in sample.values()])
        for sample in samples
        if len(sample) > 1
    ]
    if not several:
        return None
    alone = [group(values) for sample in samples if len(sample) == 1 for values in sample.values()]
    between = math.fsum(each.ss_between for each in several)
    within = math.fsum([*(each.ss_within for each in several), *(each.squares for each in alone)])
    df1 = sum(each.df_between for each in several)
    df2 = sum(each.df_within for each in several) + sum(each.n - 1 for each in alone)
    if not df2 or within <= 0.0:
        return NightsApart(nights=nights, p=None)
    return NightsApart(nights=nights, p=f_tail(between / df1 / (within / df2), df1=df1, df2=df2))
