"""What the frames of a capture say as a whole: can they be what was declared?

Pure. Physical bounds and steps that no recording has of itself; the bounds are common
practice, no source.
"""

from __future__ import annotations

from harness.rig.captures.trouble import AGAIN, Trouble, implausible

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.assembly import Part
    from harness.rig.captures.times import FrameTimes

#: The middle frame of a capture lies between: 20 000 frames a second, and one in ten seconds.
SHORTEST_MEDIAN_MS = 0.05
LONGEST_MEDIAN_MS = 10_000.0

_STEP = (300.0, 3000.0)  # a change of unit is a factor of about a thousand, or of a million
_BLOCKS_EACH_SIDE = 2


def refuse_implausible(times: FrameTimes, *, unit: str, clock: bool) -> None:
    """Refuse frame times that no program has: the unit must be another.

    Raises:
        Trouble: the middle frame time is out of bounds.
    """
    median = times.quantile(1, 2)
    if not SHORTEST_MEDIAN_MS <= median <= LONGEST_MEDIAN_MS:
        raise implausible(median, unit, clock=clock)


def unit_changes(times: FrameTimes) -> Trouble | None:
    """Return the trouble of a column whose unit changes on the way.

    From one block of frames on all are about a thousand times (or a million times) as long,
    or as short, as all before.
    """
    blocks = times.blocks
    lows = blocks.lows[: blocks.complete]
    if len(lows) < 2 * _BLOCKS_EACH_SIDE:
        return None
    small, large = min(lows), max(lows)
    if large < _STEP[0] * small:
        return None
    middle = (small * large) ** 0.5
    side = [low > middle for low in lows]
    at = side.index(not side[0])
    if any(each == side[0] for each in side[at + 1 :]):
        return None  # it comes and goes: frames, not units
    if min(at, len(lows) - at) < _BLOCKS_EACH_SIDE:
        return None
    before, after = sorted(lows[:at])[at // 2], sorted(lows[at:])[(len(lows) - at) // 2]
    factor = max(before, after) / min(before, after)
    while factor > _STEP[1]:
        factor /= 1000.0
    if not _STEP[0] <= factor <= _STEP[1]:
        return None
    place = max(0, (at - 1) * blocks.frames)
    line = times.line(place)
    where = f" from about line {line} on" if line else f" from about frame {place + 1} on"
    return Trouble(
        "unit-changes",
        f"frame times of {before:.4g} ms become {after:.4g} ms{where}, and stay so: the unit "
        "changes within the column",
        line=line,
        do=AGAIN,
    )


def too_short(times: FrameTimes, part: Part) -> list[Trouble]:
    """Return the trouble of frames that do not last as long as they must."""
    if part.length_ms is None:
        return []
    least_ms = part.length_ms * (1.0 - part.tolerance)
    if times.total_ms >= least_ms:
        return []
    return [
        Trouble(
            "short-capture",
            f"{times.count} frames last {times.total_ms / 1000.0:.4g} s; the part that is "
            f"measured lasts {part.length_ms / 1000.0:.4g} s, of which "
            f"{100.0 * part.tolerance:.3g} % may be missing",
            do="check the length against the scene; if it is right, carry the pass out again",
        )
    ]
