"""What looking at the rig cost the frames of a pass, measured from its own capture.

Pure. Comparing whole passes with the sampler and without cannot tell a part in a hundred; the
instants of its looks can tell a few parts in a hundred thousand. Around each look, the frames
that it touched are held against the middle frame of those around them:

    excess = time of the touched frames - their number x the median frame of their neighbours

A frame's mean is above its median wherever some frames are long, and an excess of its own kind
would come out of nothing. So the same is worked out half-way to the next look, where nothing of
the harness is awake; a look's *cost* is the difference of the two. The mean of the costs has
Student's interval, of which the halves differ by chance alone where the looks cost nothing.

*What it cannot tell.* A title that does something of its own once a second, in step with the
looks, is charged to them. A title held at a rate takes a small cost out of its own pauses: then
the frames show none, and rightly.

The capture must hold clock values on a clock of this machine: durations alone cannot be laid
on it exactly, since nobody knows when the first one began.
"""

from __future__ import annotations

import math
import statistics
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import pairwise

from harness.plan.document import Frames
from harness.rig.captures.around import Around
from harness.rig.captures.declared import UNITS
from harness.rig.tasks import Sampling
from harness.rules.judgement import HarnessCost
from harness.rules.student import t_quantile

CONFIDENCE = 0.95

#: Frames are looked at so far on both sides of a look, seconds. Looks and the places half-way
#: between them, half a second apart, must not share frames.
REACH_S = 0.2
#: A look is felt from so long before it (waking up) until so long after (caches), seconds.
BEFORE_S, AFTER_S = 0.0005, 0.001
#: So many untouched frames give a median; so many looks an interval that says something.
#: Common practice, no source.
LEAST_AROUND, LEAST_LOOKS = 8, 5
#: More looks are not needed, and their frames would fill the memory: then every second, third …
MOST_LOOKS = 600
#: A machine that never slept shows two clocks this far apart, for reading one after the other.
_SAME_S = 0.001


def frames_around(frames: Frames, sampling: Sampling | None, *, wall_s: float) -> Around | None:
    """Return what picks the frames around the looks out of a capture; None: it holds no clock."""
    if frames.values != "clock" or frames.unit not in UNITS or sampling is None:
        return None
    up, down = UNITS[frames.unit]
    behind_s = (0.0, sampling.suspended_s) if sampling.suspended_s > _SAME_S else (0.0,)
    begun_s = sampling.started_s
    return Around(
        [(start - REACH_S, end + REACH_S) for start, end in places(sampling.looks)],
        window=(begun_s, begun_s + wall_s),
        behind_s=behind_s,
        per_s=1000.0 * down / up,
    )


def places(looks: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return looks and the quiet places after them in turns: look, quiet, look, quiet …

    A quiet place is half-way to the next look, and as long as its look. Looks too close
    together for one are left out.
    """
    every = max(1, math.ceil(len(looks) / MOST_LOOKS))
    found: list[tuple[float, float]] = []
    for (start, end), (following, _) in list(pairwise(looks))[::every]:
        middle, half = (end + following) / 2.0, (end - start) / 2.0
        if middle - half - end >= 2.0 * REACH_S:
            found += [(start, end), (middle - half, middle + half)]
    return found


def harness_cost(around: Around | None, sampling: Sampling, *, slept: bool) -> HarnessCost:
    """Return what the looks of a pass cost its frames, or why that cannot be told.

    Args:
        around: What was picked out of the capture; None: the capture holds durations.
        sampling: The looks.
        slept: Whether the machine was suspended in the pass.
    """
    if around is None:
        return _not_told(
            "the capture holds durations, and nobody knows when the first frame began; "
            "a capture of clock values can be laid on the clock"
        )
    if slept:
        return _not_told("the machine was suspended during the pass")
    first_s, last_s = around.first_s, around.last_s
    if first_s is None or last_s is None:
        many = around.clocks > 1
        return _not_told(
            "the capture's clock may be either of two of this machine"
            if many
            else "the capture's clock is none of this machine: its first frame is not in the pass"
        )
    spans = places(sampling.looks)
    pairs = zip(
        zip(spans[::2], around.kept[::2], strict=True),
        zip(spans[1::2], around.kept[1::2], strict=True),
        strict=True,
    )
    costs = [
        in_look - in_quiet
        for look, quiet in pairs
        if (in_look := excess_ms(look[1], look[0])) is not None
        and (in_quiet := excess_ms(quiet[1], quiet[0])) is not None
    ]
    if len(costs) < LEAST_LOOKS:
        return _not_told(
            f"{len(costs)} looks have {LEAST_AROUND} frames within {REACH_S:g} s around them, and "
            f"{LEAST_LOOKS} are the least"
        )
    mean_ms = statistics.fmean(costs)
    error_ms = statistics.stdev(costs) / math.sqrt(len(costs))
    half_ms = error_ms * t_quantile((1.0 + CONFIDENCE) / 2.0, df=len(costs) - 1)
    within = sum(first_s <= start <= last_s for start, _ in sampling.looks)
    return HarnessCost(
        looks=len(costs),
        cost_ms=mean_ms,
        low_ms=mean_ms - half_ms,
        high_ms=mean_ms + half_ms,
        share=mean_ms / 1000.0 * within / (last_s - first_s),
    )


def excess_ms(clock_s: Sequence[float], place: tuple[float, float]) -> float | None:
    """Return what the frames at *place* took beyond the median of the frames around them, ms.

    Args:
        clock_s: When each frame was over, in order: a frame lasts from one to the next.
        place: From when to when something happened.

    Returns:
        None where the frames do not reach past the place on both sides, or too few are around.

    >>> excess_ms([0.01 * n for n in range(11)] + [0.12 + 0.01 * n for n in range(11)], (0.1, 0.11))
    9.999999999999998
    """
    start, end = place[0] - BEFORE_S, place[1] + AFTER_S
    first = bisect_right(clock_s, start) - 1  # the touched frames begin with this value …
    last = bisect_left(clock_s, end)  # … and end with this one
    if first < 0 or last >= len(clock_s):
        return None
    lengths = [after - before for before, after in pairwise(clock_s)]
    others = lengths[:first] + lengths[last:]
    if len(others) < LEAST_AROUND:
        return None
    touched_s = clock_s[last] - clock_s[first]
    return 1000.0 * (touched_s - (last - first) * statistics.median(others))


def _not_told(why: str) -> HarnessCost:
    return HarnessCost(looks=0, why=why)
