"""What set the rate of a cell: the card, the processor, or what nobody measured.

Pure. Shown beside a margin, so that an effect hidden by the other part is not read as "no
difference". Common practice, no source: a card that is at work for 95 % of the time sets the
rate; one that has 10 % or more of its time to spare does not, and then it is the processor, a
limit on the rate, or waiting. The load of the processor alone tells little, since one thread
of many may hold everything up. In between nothing is said.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.summary.sides import KeptPass

CARD_FROM = 95.0  #: per cent of gpu.load
NOT_CARD_BELOW = 90.0

_LIMITS = ("gpu.limited.power", "gpu.limited.heat", "gpu.limited.other", "cpu.limited.heat")

#: A limit that held for less than this share of the time is not named.
_SHARE = 0.05


class Setter(enum.Enum):
    """Which part sets the rate."""

    CARD = "card"
    NOT_CARD = "not the card"
    BETWEEN = "either"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class RateSetter:
    """What set the rate of one cell.

    Args:
        part: The part.
        gpu_load: Mean over passes, per cent; None: not measured.
        cpu_load: Likewise.
        limits: Readings of limits that held, each with its mean share of the time.
    """

    part: Setter
    gpu_load: float | None
    cpu_load: float | None
    limits: tuple[tuple[str, float], ...]


def rate_setter(passes: Sequence[KeptPass]) -> RateSetter:
    """Return what set the rate over *passes*."""
    gpu = _mean(passes, "gpu.load")
    if gpu is None:
        part = Setter.NOT_MEASURED
    elif gpu >= CARD_FROM:
        part = Setter.CARD
    else:
        part = Setter.NOT_CARD if gpu < NOT_CARD_BELOW else Setter.BETWEEN
    shares = [(name, _mean(passes, name)) for name in _LIMITS]
    return RateSetter(
        part=part,
        gpu_load=gpu,
        cpu_load=_mean(passes, "cpu.load"),
        limits=tuple((name, each) for name, each in shares if each is not None and each >= _SHARE),
    )


def _mean(passes: Sequence[KeptPass], name: str) -> float | None:
    means = [
        reading.mean
        for each in passes
        if (reading := each.readings.get(name)) is not None and reading.mean is not None
    ]
    return math.fsum(means) / len(means) if means else None
