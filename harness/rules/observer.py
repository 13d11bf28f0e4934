"""What looking at the rig cost the frames of a pass, measured from its own capture.

Pure. Comparing whole passes with the sampler and without cannot tell a part in a hundred; the
instants of its looks can tell a few parts in a hundred thousand. The definition,
``frames-around-looks/1``, is ours:

    excess of a frame = its time - the median of the frames around it
    cost of a look    = excess of the frames that it touched - the same at places between looks

The second half matters: a frame's mean is above its median wherever some frames are long, and
long frames are hit more often than short ones. At the places between looks both are alike, and
nothing of the harness is awake. The mean cost times the looks, over the time of the frames, is
the share of the pass.

*How frames are laid on the sampler's clock.*

- **on the clock**: the capture holds clock values, and the first and the last lie within the
  command's time on one clock of this machine (steady, monotonic, or the clock of the day), and on
  one only. Frames and looks are then on one clock to far less than a frame. Interval: Student's,
  over the looks.
- **folded**: durations have no beginning, and a clock may be the title's own. The first frame
  began at some time after the command, but the looks come once a period: see ``folding``. How
  far the beginning is open is the command's time less the frames'; where that is less than a
  period, fewer places are searched. The interval is wide until a place is found.

*What it cannot tell.* A title that does something of its own in step with the looks is charged
to them. A title held at a rate takes a small cost out of its own pauses: then the frames show
none, and rightly. Folded, a cost is looked for that is much the same at every look, and a title
that halts for long between two frames, unseen by its capture, hides it.
"""

from __future__ import annotations

import math
import statistics
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import accumulate, pairwise, repeat
from operator import mul, sub

from harness.rig.captures.times import FrameTimes
from harness.rig.tasks import Sampling
from harness.rules.folding import Row, folded
from harness.rules.judgement import HarnessCost
from harness.rules.standing_out import beyond
from harness.rules.student import t_quantile

DEFINITION = "frames-around-looks/1"
CONFIDENCE = 0.95

#: A look is felt from so long before it (waking up) until so long after (caches), ms.
BEFORE_MS, AFTER_MS = 0.5, 1.0
#: Frames of a median: so much time of them, ms, and so many at least. Common practice, no source.
AROUND_MS, LEAST_AROUND = 300.0, 9
#: So many looks give an interval that says something (on the clock; folded); so many frames
#: a period has at least.
LEAST_LOOKS, LEAST_FOLDED, LEAST_FRAMES = 5, 8, 12
#: Frames that are looked at, of a long capture the first, since what is between passes must be
#: short; and how many are few enough to be looked at more closely.
MOST_FRAMES, FEW_FRAMES = 1 << 16, 16_000
#: Places on either side that each look is held against, and how near a look they may come, as
#: a share of the period.
CONTROLS, APART = 4, 0.15
#: A machine that never slept shows two clocks this far apart, for reading one after the other.
_SAME_S = 0.001
#: A recorder may begin before the title's command, and end after it, seconds.
_SLACK_S = 0.25


def harness_cost(
    times: FrameTimes, sampling: Sampling | None, *, wall_s: float, slept: bool = False
) -> HarnessCost:
    """Return what the looks of a pass cost its frames, or why that cannot be told.

    Args:
        times: The frames, as they were read for the figures.
        sampling: When the sampler looked; None: it did not.
        wall_s: How long the title's command ran.
        slept: Whether the machine was suspended meanwhile.
    """
    looks = () if sampling is None else sampling.looks
    if sampling is None or len(looks) < LEAST_LOOKS:
        return not_told(f"{_looks(len(looks))} in the pass, and {LEAST_LOOKS} are the least")
    if slept:
        return not_told("the machine was suspended during the pass")
    frames = times.opening[:MOST_FRAMES]
    period_ms = 1000.0 * sampling.interval_s
    typical_ms = statistics.median(frames[:: max(1, len(frames) // 1024)])
    if period_ms < LEAST_FRAMES * typical_ms:
        return not_told(
            f"frames of {typical_ms:.3g} ms: fewer than {LEAST_FRAMES} lie between two looks"
        )
    if len(frames) < 2 * LEAST_AROUND:
        return not_told(f"{len(frames)} frames are too few")
    track = _Track(frames, typical_ms)
    whole_s = times.total_ms / 1000.0
    begun_s = _begun_s(times, sampling, wall_s=wall_s, whole_s=whole_s)
    if begun_s is not None:
        return _on_the_clock(track, sampling, begun_s=begun_s, whole_s=whole_s)
    open_ms = max(0.0, 1000.0 * (wall_s - whole_s))
    # Clock values leave no time out between two frames; durations may.
    gaps = times.began_ms is None
    return _folded(track, sampling, typical_ms=typical_ms, open_ms=open_ms, gaps=gaps)


def not_told(why: str) -> HarnessCost:
    """Return that the cost was not measured, and why."""
    return HarnessCost(definition=DEFINITION, looks=0, why=why)


def _looks(count: int) -> str:
    return f"{count} look{'' if count == 1 else 's'} at the rig"


class _Track:
    """The frames in time, ms from the beginning of the first, and the medians around them.

    Medians are those of blocks of an odd number of frames, and lie on straight lines from the
    middle of one to the middle of the next, so that a slow change is no excess.
    """

    def __init__(self, frames: Sequence[float], typical_ms: float) -> None:
        self._frames = frames
        self.ends = list(accumulate(frames))
        size = max(LEAST_AROUND, int(AROUND_MS / typical_ms)) | 1
        self._block = block = min(size, len(frames) - 1 | 1)
        starts = range(0, len(frames) - block + 1, block)
        self._medians = [sorted(frames[at : at + block])[block // 2] for at in starts]

    def beyond(self, start_ms: float, end_ms: float) -> float | None:
        """Return the excess of the frames touched between two instants; None: not all are there.

        A frame lasts from the end of the one before, which is not its own, to its own end.
        """
        first, last = bisect_right(self.ends, start_ms), bisect_left(self.ends, end_ms)
        if start_ms < 0.0 or last >= len(self.ends):
            return None
        touched = sum(self._frames[first : last + 1])
        half = self._block // 2
        if (first - half) // self._block == (last - half) // self._block:
            # On one straight line the middle speaks for all: a pass has thousands of places.
            return touched - (last + 1 - first) * self._median((first + last) / 2)
        return touched - sum(map(self._median, range(first, last + 1)))

    def _median(self, frame: float) -> float:
        """Return the median around one frame, or around a place between two."""
        into = frame - self._block // 2
        if into < 0:
            return self._medians[0]
        block = int(into) // self._block
        if block + 1 >= len(self._medians):
            return self._medians[-1]
        one = self._medians[block]
        return one + (self._medians[block + 1] - one) * (into / self._block - block)

    def long_ms(self) -> float:
        """Return how long all frames last but one in ten."""
        some = sorted(self._frames[:: max(1, len(self._frames) // 1024)])
        return some[9 * len(some) // 10]

    def excess(self) -> Row:
        """Return the excess of every frame."""
        level = [self._medians[0]] * (self._block // 2)
        for one, following in pairwise(self._medians):
            rises = repeat((following - one) / self._block, self._block - 1)
            level += accumulate(rises, initial=one)
        level += [self._medians[-1]] * (len(self._frames) - len(level))
        return list(map(sub, self._frames, level))

    def on_grid(self, step_ms: float, wide: int) -> Row:
        """Return, for every step from the beginning on, the excess of the frames that end soon.

        That is within *wide* steps after it.
        """
        per_ms = 1.0 / step_ms
        ended = [0.0] * (int(self.ends[-1] * per_ms) + 1)
        steps = map(int, map(mul, self.ends, repeat(per_ms)))
        for step, excess in zip(steps, self.excess(), strict=True):
            ended[step] += excess
        sums = list(accumulate(ended, initial=0.0))
        return list(map(sub, sums[wide:], sums))


# ------------------------------------------------------------------------------ on the clock


def _begun_s(
    times: FrameTimes, sampling: Sampling, *, wall_s: float, whole_s: float
) -> float | None:
    """Return when the first frame began, on the steady clock; None: nobody knows."""
    if times.began_ms is None:
        return None
    fitting: list[float] = []
    for behind_s in sampling.behind_s:
        begun_s = times.began_ms / 1000.0 + behind_s
        inside = -_SLACK_S <= begun_s - sampling.started_s <= wall_s - whole_s + _SLACK_S
        if inside and all(abs(begun_s - each) > _SAME_S for each in fitting):
            fitting.append(begun_s)
    return fitting[0] if len(fitting) == 1 else None


def _on_the_clock(
    track: _Track, sampling: Sampling, *, begun_s: float, whole_s: float
) -> HarnessCost:
    period_ms = 1000.0 * sampling.interval_s
    parts = [APART + (0.5 - APART) * step / CONTROLS for step in range(CONTROLS)]
    aside = [sign * period_ms * part for part in parts for sign in (1.0, -1.0)]
    own, between = [], []
    for start_s, end_s in sampling.looks:
        start_ms = 1000.0 * (start_s - begun_s) - BEFORE_MS
        end_ms = 1000.0 * (end_s - begun_s) + AFTER_MS
        touched = track.beyond(start_ms, end_ms)
        if touched is not None:
            own.append(touched)
            places = (track.beyond(start_ms + by, end_ms + by) for by in aside)
            between += [each for each in places if each is not None]
    if len(own) < LEAST_LOOKS or len(between) < LEAST_LOOKS:
        return _too_few(len(own), least=LEAST_LOOKS)
    cost = beyond(own, between)
    half_ms = cost.error_ms * t_quantile((1.0 + CONFIDENCE) / 2.0, df=len(own) - 1)
    within = sum(begun_s <= start_s <= begun_s + whole_s for start_s, _ in sampling.looks)
    return _told(
        looks=len(own),
        cost_ms=cost.mean_ms,
        low_ms=cost.mean_ms - half_ms,
        high_ms=cost.mean_ms + half_ms,
        each_s=whole_s / within,
        laid="clock",
    )


def _too_few(looks: int, *, least: int) -> HarnessCost:
    on = "" if least == LEAST_LOOKS else " for durations, which hold no instant"
    return not_told(f"{_looks(looks)} with frames around, and {least} are the least{on}")


def _told(
    *, looks: int, cost_ms: float, low_ms: float, high_ms: float, each_s: float, laid: str
) -> HarnessCost:
    """Return the cost; there is one look every *each_s* seconds of the frames."""
    return HarnessCost(
        definition=DEFINITION,
        looks=looks,
        cost_ms=cost_ms,
        low_ms=low_ms,
        high_ms=high_ms,
        share=cost_ms / 1000.0 / each_s,
        most_share=high_ms / 1000.0 / each_s,
        laid=laid,
    )


# ------------------------------------------------------------------------------------ folded


def _folded(
    track: _Track, sampling: Sampling, *, typical_ms: float, open_ms: float, gaps: bool
) -> HarnessCost:
    period_ms = 1000.0 * sampling.interval_s
    # How long a look lasts, and how late it comes; the few that are far off do not count.
    longs = sorted(1000.0 * (end - start) for start, end in sampling.looks)
    lates = sorted(_lates_ms(sampling))
    most = (9 * len(longs)) // 10
    soonest_ms = lates[len(lates) // 10]
    felt_ms = BEFORE_MS + longs[most] + (lates[most] - soonest_ms) + AFTER_MS
    # Steps of a frame; shorter ones where there are few: they touch less beside the look.
    long = round(period_ms / typical_ms * min(4, max(1, FEW_FRAMES // len(track.ends))))
    step_ms = period_ms / long
    # The look begins somewhere within a step, and the last frame that it touches ends later.
    wide = math.ceil((felt_ms + step_ms + track.long_ms()) / step_ms)
    if 4 * wide + 2 > long:
        return not_told(f"a look takes {longs[most]:.3g} ms, too much of {period_ms:.4g} ms")
    # With the first frame open_ms after the command at most, looks come at one of these places.
    latest_ms = soonest_ms - BEFORE_MS
    spread = min(long, math.ceil(open_ms / step_ms) + 2)
    first = math.floor((latest_ms - open_ms) / step_ms)
    places = sorted({(first + step) % long for step in range(spread)})
    grid = track.on_grid(step_ms, wide)
    rows = [grid[at : at + long] for at in range(0, len(grid) - long + 1, long)]
    if len(rows) < LEAST_FOLDED:
        return _too_few(len(rows), least=LEAST_FOLDED)
    found = folded(rows, places=places, width=wide, drifts=gaps, confidence=CONFIDENCE)
    return _told(
        looks=len(rows),
        cost_ms=found.cost_ms,
        low_ms=found.low_ms,
        high_ms=found.high_ms,
        each_s=sampling.interval_s,
        laid="found" if found.found else "sought",
    )


def _lates_ms(sampling: Sampling) -> Iterable[float]:
    """Return how late each look began after its tick, ms."""
    for start_s, _ in sampling.looks:
        into_s = start_s - sampling.started_s
        yield 1000.0 * (into_s - round(into_s / sampling.interval_s) * sampling.interval_s)
