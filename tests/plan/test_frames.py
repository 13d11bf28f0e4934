"""How a plan declares its frame log: what could never be read is refused before the night."""

from __future__ import annotations

import pytest

from harness.plan.frame_log import says_rate, unit_said, words
from tests.plan.words import changed, checked, codes

FRAMES = "frames: {file: frames.csv, column: frame_ms, unit: ms}"


def declared(frames: str) -> str:
    """Return the clean plan with another declaration of its frames."""
    return changed((FRAMES, f"frames: {{{frames}}}"))


@pytest.mark.parametrize(
    ("frames", "code"),
    [
        ("file: ., column: frame_ms, unit: ms", "not-a-file"),
        ("file: a/, column: frame_ms, unit: ms", "not-a-file"),
        ("file: a/., column: frame_ms, unit: ms", "not-a-file"),
        ("file: frames.csv, column: -1, unit: ms", "number-too-small"),
        ("file: frames.csv, column: frame_ms, unit: us", "unit-conflict"),
        ("file: frames.csv, column: FrameTimeUs, unit: ms", "unit-conflict"),
        ("file: frames.csv, column: CurrentFPS, unit: ms", "rate-column"),
        ("file: frames.csv, column: frames_per_second, unit: s", "rate-column"),
        *(
            (f"file: frames.csv, column: frame_ms, unit: ms, {key}: '{sign}'", "not-a-separator")
            for key in ("delimiter", "thousands")
            for sign in ("0", "x", "\N{LATIN SMALL LETTER E WITH ACUTE}", "+", "-", '"')
        ),
    ],
)
def test_frames_that_can_never_be_read_are_refused(frames: str, code: str) -> None:
    assert codes(declared(frames)) == [code]


@pytest.mark.parametrize(
    "frames",
    [
        "file: logs/frames.csv, column: frame_ms, unit: ms",
        "file: frames.csv, column: 2, unit: us",
        'file: frames.csv, column: "-1", unit: ms',
        "file: frames.csv, column: t, unit: us",
        "file: frames.csv, column: frames_ms, unit: ms",
        "file: frames.csv, column: frame_ms, unit: ms, delimiter: tab, thousands: space",
        'file: frames.csv, column: frame_ms, unit: ms, delimiter: ";", thousands: "\'"',
        "file: frames.csv, column: t, unit: ms, delimiter: '#', thousands: '.', decimal: ','",
    ],
)
def test_frames_that_can_be_read_are_taken(frames: str) -> None:
    assert codes(declared(frames)) == []


def test_a_unit_against_the_columns_name_says_which_to_write() -> None:
    (problem,) = checked(declared("file: frames.csv, column: frame_ms, unit: us")).problems

    assert (
        problem.what == "titles[1].frames.unit is us, and the column 'frame_ms' says ms in its name"
    )
    assert problem.do == "write unit: ms; if the name is wrong, write the column's number"


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("FrameTimeUs", ("frame", "time", "us")),
        ("FPSNow", ("fps", "now")),
        ("frame_time (\N{MICRO SIGN}S)", ("frame", "time", "\N{MICRO SIGN}s")),
        ("t (mS)", ("t", "ms")),
        ("FRAME_MS", ("frame", "ms")),
        ("Frame #", ("frame", "#")),
        ("it's", ("its",)),
    ],
)
def test_a_name_is_parted_into_its_words(name: str, parts: tuple[str, ...]) -> None:
    assert words(name) == parts


@pytest.mark.parametrize(
    ("name", "rate", "unit"),
    [
        ("framesPerSecond", True, None),
        ("frames/s", True, None),
        ("FPS (1/s)", True, None),
        ("frame time / s", False, "s"),
        ("frames_s", False, "s"),
        ("ms per frame", False, None),
        ("frame_rate_ms", False, "ms"),
    ],
)
def test_a_rate_and_a_time_are_told_apart_by_the_name(
    name: str, rate: bool, unit: str | None
) -> None:
    assert (says_rate(name), unit_said(name)) == (rate, unit)
