"""What the frames of one pass tell by themselves: in words, and as JSON.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterator

from harness.summary.within_frames import (
    LEAST_EFFECTIVE,
    LEAST_EFFECTIVE_LOW,
    LEAST_FRAMES,
    FramesWithin,
)
from harness.summary.within_pass import WithinPass

AVERAGE = "frames-over-time/1"
LOW = "percentile/1"


def within_lines(found: FramesWithin | None) -> Iterator[str]:
    """Yield what the frames of one pass tell; None: too few were there."""
    yield "within this pass"
    if found is None:
        yield f"  not measured: fewer than {LEAST_FRAMES} frames"
        return
    if found.frames < found.of:
        yield f"  from the first {found.frames} of {found.of} frames"
    if found.head_frames is None or found.head_ms is None:
        yield "  loading head: no steady part is found (MSER-5)"
    elif not found.head_frames:
        yield "  loading head: none (MSER-5)"
    else:
        yield (
            f"  loading head: {found.head_frames} frames, {found.head_ms / 1000.0:.4g} s (MSER-5); "
            "told, not cut: a plan cuts it with cut: {from: …}"
        )
    yield (
        f"  effective frames: {found.effective:.0f} of {found.frames}, since frame times follow "
        "their neighbours"
    )
    least = None if found.average_holds else LEAST_EFFECTIVE
    yield f"  {_words('average frame rate', found.average, AVERAGE, least)}"
    if found.low is not None:
        least = None if found.low_holds else LEAST_EFFECTIVE_LOW
        yield f"  {_words('1 % low', found.low, LOW, least)}"
    else:
        yield "  1 % low: not measured: fewer than 3 frames in its tail"
    yield "  by the frames of this pass alone: passes differ by more, and only passes tell how much"


def _words(name: str, each: WithinPass, definition: str, least: int | None) -> str:
    if least is not None:
        return (
            f"{name}: {each.value:.2f} fps ({definition}); no interval: with fewer than {least} "
            "effective frames it would hold less than it says"
        )
    return (
        f"{name}: {each.value:.2f} fps, {100 * each.confidence:.0f} % interval {each.low:.2f} to "
        f"{each.high:.2f} fps ({definition}; {each.replicates} draws of circular blocks of "
        f"{each.block} {'frame' if each.block == 1 else 'frames'})"
    )


def within_json(found: FramesWithin | None) -> dict[str, object] | None:
    """Return it as JSON; None: too few frames were there."""
    if found is None:
        return None
    return {
        "frames": found.frames,
        "of": found.of,
        "head_frames": found.head_frames,
        "head_s": None if found.head_ms is None else found.head_ms / 1000.0,
        "effective_frames": found.effective,
        "average_fps": _json(found.average, AVERAGE, holds=found.average_holds),
        "low_1pct_fps": (
            None if found.low is None else _json(found.low, LOW, holds=found.low_holds)
        ),
    }


def _json(each: WithinPass, definition: str, *, holds: bool) -> dict[str, object]:
    return {
        "value": each.value,
        "low": each.low if holds else None,
        "high": each.high if holds else None,
        "confidence": each.confidence,
        "block_frames": each.block,
        "draws": each.replicates,
        "definition": definition,
        "unit": "fps",
    }
