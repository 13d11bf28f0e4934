"""Frame times -> figures, each with the name and the version of its definition.

Pure.

Average frame rate = frames ÷ total time, never the mean of rates. The low figures come
under three definitions that give three different numbers for one capture; all are worked
out, and a number never goes anywhere without the name of its own:

    percentile       1000 ÷ the 99th percentile of frame time (Hyndman and Fan's type 7)
    slowest-frames   frames ÷ time over the slowest 1 % of frames (rounded down)
    slowest-time     1000 ÷ the frame at which the slowest frames fill 1 % of the time

The tail of a low figure is the slowest 1 % (0.1 %) of frames, rounded down; for
slowest-time, the frames that fill the time, where they are fewer. A figure with fewer than
ten frames in its tail is *thin*. With fewer than three in the slowest 1 % (0.1 %) it is not
measured, whatever the definition.

A plain class stands for a computed figure here, and not `harness.rules.judgement.Figure`,
because ``harness figures`` starts within a few times the bare interpreter; the meter makes
the one into the other.
"""

from __future__ import annotations

from math import fsum

TYPE_CHECKING = False
if TYPE_CHECKING:
    from harness.rig.captures.times import FrameTimes

PERCENTILE = "percentile"
SLOWEST_FRAMES = "slowest-frames"
SLOWEST_TIME = "slowest-time"

#: Definitions of the low figures, the default first.
LOW_DEFINITIONS: tuple[str, ...] = (PERCENTILE, SLOWEST_FRAMES, SLOWEST_TIME)

#: Version of every definition; it goes up when a number it gives may change.
VERSIONS: dict[str, int] = {
    "frames-over-time": 1,
    PERCENTILE: 1,
    SLOWEST_FRAMES: 1,
    SLOWEST_TIME: 1,
    "frame-time-percentile": 1,
    "longest-frame": 1,
    "frames-over-limit": 1,
}

#: The two tails: name of the figure, one in how many frames, as a person reads it.
TAILS: tuple[tuple[str, int, str], ...] = (
    ("low_1pct_fps", 100, "1 %"),
    ("low_0_1pct_fps", 1000, "0.1 %"),
)

#: Percentiles of frame time: name of the figure, numerator, denominator.
PERCENTILES: tuple[tuple[str, int, int], ...] = (
    ("frame_time_p50_ms", 50, 100),
    ("frame_time_p95_ms", 95, 100),
    ("frame_time_p99_ms", 99, 100),
    ("frame_time_p99_9_ms", 999, 1000),
)

LIMIT_MS = 100.0  #: frames over it are counted: common practice, no source

THIN_BELOW = 10
MEASURED_FROM = 3


class Computed:
    """A figure of one capture.

    Args:
        name: The figure's name, its unit at the end.
        value: The number; None where it is not measured.
        unit: Its unit; ``frames`` for a count of them.
        definition: Name and version, as in ``percentile/1``.
        why: Why it is not measured.
        thin: Whether few frames are in its tail.
        tail: How many frames are in its tail; None for a figure without one.
    """

    __slots__ = ("definition", "name", "tail", "thin", "unit", "value", "why")

    def __init__(
        self,
        name: str,
        value: float | None,
        unit: str,
        definition: str,
        *,
        why: str | None = None,
        thin: bool = False,
        tail: int | None = None,
    ) -> None:
        self.name = name
        self.value = value
        self.unit = unit
        self.definition = f"{definition}/{VERSIONS[definition]}"
        self.why = why
        self.thin = thin
        self.tail = tail


def low_name(name: str, definition: str) -> str:
    """Return the name under which a low figure of *definition* is kept.

    >>> low_name("low_1pct_fps", "percentile"), low_name("low_1pct_fps", "slowest-time")
    ('low_1pct_fps', 'low_1pct_fps_slowest_time')
    """
    if definition == PERCENTILE:
        return name
    return f"{name}_{definition.replace('-', '_')}"


def figures(times: FrameTimes) -> tuple[Computed, ...]:
    """Return every figure of a capture, in the order in which they are shown."""
    count, total_ms = times.count, times.total_ms
    made = [Computed("average_fps", count * 1000.0 / total_ms, "fps", "frames-over-time")]
    # The slowest 1 % of the time is at most the slowest 1 % of the frames, rounded up.
    slowest = times.runs.largest(min(count, count // TAILS[0][1] + 1))
    for name, share, _ in TAILS:
        made.extend(_lows(times, name, share, slowest))
    made.extend(
        Computed(name, times.quantile(numerator, denominator), "ms", "frame-time-percentile")
        for name, numerator, denominator in PERCENTILES
    )
    made.append(Computed("longest_frame_ms", times.runs.at(count - 1), "ms", "longest-frame"))
    made.append(
        Computed(
            "frames_over_100_ms", float(times.runs.above(LIMIT_MS)), "frames", "frames-over-limit"
        )
    )
    return tuple(made)


def _lows(times: FrameTimes, name: str, share: int, slowest: list[float]) -> list[Computed]:
    tail = times.count // share
    if tail < MEASURED_FROM:
        why = (
            f"{times.count} frames: {tail} in the slowest 1/{share}, "
            f"and {MEASURED_FROM} are the least"
        )
        return [
            Computed(low_name(name, definition), None, "fps", definition, why=why, tail=tail)
            for definition in LOW_DEFINITIONS
        ]
    filling = _filling(slowest, times.total_ms / share)
    values = (
        (PERCENTILE, 1000.0 / times.quantile(share - 1, share), tail),
        (SLOWEST_FRAMES, tail * 1000.0 / fsum(slowest[:tail]), tail),
        (SLOWEST_TIME, 1000.0 / slowest[filling - 1], min(tail, filling)),
    )
    return [
        Computed(
            low_name(name, definition),
            value,
            "fps",
            definition,
            thin=frames < THIN_BELOW,
            tail=frames,
        )
        for definition, value, frames in values
    ]


def _filling(slowest: list[float], time_ms: float) -> int:
    """Return how many of the slowest frames fill a time."""
    filled = 0.0
    for place, value in enumerate(slowest, start=1):
        filled += value
        if filled >= time_ms:
            return place
    return len(slowest)


def names() -> tuple[str, ...]:
    """Return the names of all figures that frames give, in the order in which they are shown."""
    lows = [low_name(tail, definition) for tail, _, _ in TAILS for definition in LOW_DEFINITIONS]
    percentiles = [name for name, _, _ in PERCENTILES]
    return ("average_fps", *lows, *percentiles, "longest_frame_ms", "frames_over_100_ms")
