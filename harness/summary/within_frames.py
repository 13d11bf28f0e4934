"""The frames of one pass: where they settle, how many they are worth, what they fix a figure to.

Pure. The loading head is found and told (``harness.rules.settling``); nothing is cut here: a
plan that wants it cut says ``cut: {from: …}``, and the frames that come in are cut already.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.rules.settling import BATCH, LEAST_BATCHES, settled_from
from harness.summary.within_pass import (
    WithinPass,
    average_fps,
    effective_size,
    low_1pct_fps,
    within_pass,
)

#: So many of the first frames are looked at: the settling rule and the bootstrap take their time.
MOST_FRAMES = 1 << 16

#: Fewer frames than this say nothing of how they follow each other.
LEAST_FRAMES = LEAST_BATCHES * BATCH

#: With fewer in the slowest 1 %, the low figure is not measured (``harness.rules.figures``).
_LEAST_TAIL = 3

#: Frames that follow their neighbours so closely that they are worth fewer than this give no
#: interval: it would hold the average in 92 of 100 passes and fewer, not in 95. The low figure
#: rests on a hundredth of them, and needs more (``scripts/promises``).
LEAST_EFFECTIVE = 200
LEAST_EFFECTIVE_LOW = 1000

_SEED = 1  # for ever: the same frames give the same interval


@dataclass(frozen=True, slots=True, kw_only=True)
class FramesWithin:
    """What the frames of one pass tell by themselves.

    Args:
        frames: How many were looked at, the first ones.
        of: How many there are.
        head_frames: Frames before the steady part; None: no steady part is found.
        head_ms: Their time, milliseconds; None likewise.
        effective: How many independent frames they are worth.
        average: The average frame rate and its interval, frames a second.
        low: The 1 % low (``percentile/1``) likewise; None: too few frames in its tail.
    """

    frames: int
    of: int
    head_frames: int | None
    head_ms: float | None
    effective: float
    average: WithinPass
    low: WithinPass | None

    @property
    def average_holds(self) -> bool:
        """Return whether the frames are worth enough for the average's interval to be told."""
        return self.effective >= LEAST_EFFECTIVE

    @property
    def low_holds(self) -> bool:
        """Return the same of the low figure's interval."""
        return self.low is not None and self.effective >= LEAST_EFFECTIVE_LOW


def frames_within(frame_ms: Sequence[float], *, of: int) -> FramesWithin | None:
    """Return what the frames of a pass tell; None: there are too few.

    Args:
        frame_ms: The first frame times in order, milliseconds.
        of: How many the pass has.
    """
    looked = list(frame_ms[:MOST_FRAMES])
    if len(looked) < LEAST_FRAMES:
        return None
    settled = settled_from(looked)
    head = settled.first if settled.found else None
    return FramesWithin(
        frames=len(looked),
        of=of,
        head_frames=head,
        head_ms=None if head is None else sum(looked[:head]),
        effective=effective_size(looked),
        average=within_pass(looked, average_fps, seed=_SEED),
        low=(
            within_pass(looked, low_1pct_fps, seed=_SEED)
            if len(looked) // 100 >= _LEAST_TAIL
            else None
        ),
    )
