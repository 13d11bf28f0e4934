"""Frame times -> flags: what a careful person would look at twice, and where.

Pure. A flag never changes a figure and never voids a pass. The bounds are our own
definitions; common practice, no source.

    capped           nearly all frames within a hair of one level: a frame limit
    plateau          a stretch that holds one level while the rest is elsewhere: focus lost
    loading-head     the first frames are far longer than the rest
    settling         a first part moves the average, and a steady one follows: a warm-up inside
    alternating      every second frame is longer than its neighbours
    gap              a single frame far longer than any frame is
    repeated-rows    rows that repeat the rows before them, or all do, where no counter tells
"""

from __future__ import annotations

from harness.rules.repeats import first_repeat, times_each
from harness.rules.settling import BATCH, LEAST_BATCHES, settled_from

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.times import FrameTimes

HAIR = 0.005  # of the level, to each side
_FLAT = 1.0 + 2.0 * HAIR
CAPPED_SHARE = 0.9
PLATEAU_APART = 0.1  # of the median: a plateau nearer to it is the rest itself
PLATEAU_BLOCKS = 2
HEAD_FACTOR = 4.0  # times the median
HEAD_SHARE = 0.02  # of the total time
HEAD_FRAMES = 4096
SETTLING_FRAMES = 1 << 16  #: so many of the first frames are looked at for a steady part
SETTLING_APART = 0.01  #: what a first part must move their average by, and lie apart
GAP_FACTOR = 20.0  # times the median
GAP_MS = 500.0
ALTERNATING_SHARE = 0.5
USUAL_RATES = (24, 25, 30, 40, 45, 48, 50, 60, 72, 75, 90, 100, 120, 144, 165, 170, 180, 200, 240,
               280, 300, 360, 480, 500)  # fmt: skip


class Flag:
    """A remark on a capture.

    Args:
        name: Kebab-case, stable.
        what: What was seen, with numbers and units.
        first: The first frame it concerns, from 1; None for the whole capture.
        last: The last one.
        line: The line of the first.
    """

    __slots__ = ("first", "last", "line", "name", "what")

    def __init__(
        self,
        name: str,
        what: str,
        *,
        first: int | None = None,
        last: int | None = None,
        line: int | None = None,
    ) -> None:
        self.name = name
        self.what = what
        self.first = first
        self.last = last
        self.line = line

    @property
    def where(self) -> str:
        """Return where, in words; empty for the whole capture."""
        if self.first is None:
            return ""
        frames = f"frame {self.first}"
        if self.last is not None and self.last != self.first:
            frames = f"frames {self.first} to {self.last}"
        return f"{frames}, line {self.line}" if self.line is not None else frames


def flags(times: FrameTimes) -> tuple[Flag, ...]:
    """Return the flags of a capture."""
    median = times.quantile(1, 2)
    head = _head(times, median)
    capped = _capped(times, median)
    found = [
        capped,
        None if capped else _plateau(times, median),
        _loading_head(times, median, head) if head else _settling(times),
        _alternating(times),
        _gap(times, median, head),
        None if capped else _repeated(times),
    ]
    return tuple(flag for flag in found if flag is not None)


def _capped(times: FrameTimes, median: float) -> Flag | None:
    near = times.runs.between(median * (1.0 - HAIR), median * (1.0 + HAIR))
    share = near / times.count
    if share < CAPPED_SHARE or times.count < 2 * 8:
        return None
    return Flag(
        "capped",
        f"{100 * share:.0f} % of frames within {100 * HAIR:.1f} % of {median:.4g} ms"
        f"{_usual(median)}: looks capped",
    )


def _usual(level_ms: float) -> str:
    rate = 1000.0 / level_ms
    for usual in USUAL_RATES:
        if abs(rate / usual - 1.0) <= HAIR:
            return f" ({usual} fps)"
    return f" ({rate:.4g} fps)"


def _plateau(times: FrameTimes, median: float) -> Flag | None:
    """Return the longest stretch of whole blocks that holds a level away from the median."""
    blocks = times.blocks
    best: tuple[int, int, float, float] | None = None
    start, end, low, high = 0, 0, 0.0, 0.0
    lows, highs = blocks.lows[: blocks.complete], blocks.highs[: blocks.complete]
    flat = [
        place
        for place, pair in enumerate(zip(lows, highs, strict=True))
        if pair[1] <= pair[0] * _FLAT
    ]
    for place in flat:
        block_low, block_high = lows[place], highs[place]
        low, high = min(low, block_low), max(high, block_high)
        if end != place or high > low * _FLAT:
            start, low, high = place, block_low, block_high
        end = place + 1
        level = (low + high) / 2.0
        if abs(level / median - 1.0) > PLATEAU_APART and (
            best is None or end - start > best[1] - best[0]
        ):
            best = (start, end, low, high)
    if best is None:
        return None
    start, end, low, high = best
    level = (low + high) / 2.0
    at_usual = any(abs(1000.0 / level / usual - 1.0) <= HAIR for usual in USUAL_RATES)
    if end - start < (1 if at_usual else PLATEAU_BLOCKS):
        return None
    first, last = start * blocks.frames, end * blocks.frames
    return Flag(
        "plateau",
        f"about {last - first} frames hold {level:.4g} ms{_usual(level)} while the middle frame of "
        f"the capture lasts {median:.4g} ms: was the window out of focus?",
        first=first + 1,
        last=last,
        line=times.line(first),
    )


def _head(times: FrameTimes, median: float) -> int:
    """Return how many of the first frames are far longer than the rest."""
    head = 0
    for value in times.opening[:HEAD_FRAMES]:
        if value <= HEAD_FACTOR * median:
            break
        head += 1
    return head if sum(times.opening[:head]) >= HEAD_SHARE * times.total_ms else 0


def _loading_head(times: FrameTimes, median: float, head: int) -> Flag:
    total_ms = sum(times.opening[:head])
    frames = "the first frame lasts" if head == 1 else f"the first {head} frames last"
    return Flag(
        "loading-head",
        f"{frames} {total_ms / 1000.0:.4g} s, {100 * total_ms / times.total_ms:.0f} % of the "
        f"capture; the middle frame lasts {median:.4g} ms: is a loading screen inside?",
        first=1,
        last=head,
        line=times.line(0),
    )


def _settling(times: FrameTimes) -> Flag | None:
    values = times.opening[:SETTLING_FRAMES]
    if len(values) < LEAST_BATCHES * BATCH:
        return None
    steady = settled_from(values)
    if not steady.found or not steady.first:
        return None
    head_ms, all_ms = sum(values[: steady.first]), sum(values)
    rest = (all_ms - head_ms) / (len(values) - steady.first)
    gain = all_ms / len(values) / rest - 1.0
    if abs(gain) < SETTLING_APART:
        return None
    # A stutter moves a mean, and so the rule; it moves no middle frame.
    head, after = sorted(values[: steady.first]), sorted(values[steady.first :])
    if abs(head[len(head) // 2] / after[len(after) // 2] - 1.0) < SETTLING_APART:
        return None
    return Flag(
        "settling",
        f"the steady part begins after {steady.first} frames, {head_ms / 1000.0:.4g} s (MSER-5); "
        f"without them the average is {100 * abs(gain):.1f} % {'higher' if gain > 0 else 'lower'}: "
        "is a warm-up inside?",
        first=1,
        last=steady.first,
        line=times.line(0),
    )


def _alternating(times: FrameTimes) -> Flag | None:
    blocks = times.blocks
    if blocks.looked_at < 2 or blocks.alternating < ALTERNATING_SHARE * blocks.looked_at:
        return None
    share = blocks.alternating / blocks.looked_at
    return Flag(
        "alternating",
        f"in {100 * share:.0f} % of the capture every second frame is longer than its neighbours: "
        "are frames doubled or generated?",
    )


def _gap(times: FrameTimes, median: float, head: int) -> Flag | None:
    limit = max(GAP_MS, GAP_FACTOR * median)
    if times.runs.at(times.count - 1) <= limit:
        return None
    longest, place = 0.0, 0
    after_head = times.opening[head:]
    if after_head:
        longest = max(after_head)
        place = head + list(after_head).index(longest)
    if times.later_longest is not None and times.later_longest[0] > longest:
        longest, place = times.later_longest
    if longest <= limit:
        return None
    count = times.runs.above(limit) - sum(value > limit for value in times.opening[:head])
    more = "" if count == 1 else f"; {count} frames are over {limit:.4g} ms"
    return Flag(
        "gap",
        f"one frame lasts {longest:.4g} ms, {longest / median:.0f} times the middle one{more}",
        first=place + 1,
        last=place + 1,
        line=times.line(place),
    )


def _repeated(times: FrameTimes) -> Flag | None:
    """Return the first place where frames repeat those just before them, or that all do.

    Looked for where no counter has told already, and where all frames are at hand in order.
    """
    if times.counted or times.count != len(times.opening):
        return None
    often = times_each(times.opening)
    if often is not None:
        return Flag("repeated-rows", f"every frame comes {often} times, one behind the other")
    found = first_repeat(times.opening)
    if found is None:
        return None
    place, long = found
    return Flag(
        "repeated-rows",
        f"{long} frames repeat the {long} before them exactly",
        first=place + 1,
        last=place + long,
        line=times.line(place),
    )
