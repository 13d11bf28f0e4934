"""Flags: each is raised where it should be, says where, and is silent on ordinary captures."""

from __future__ import annotations

import random

import pytest

from harness.rig.captures.assembly import frame_times
from harness.rules.flags import Flag, flags


def ordinary(
    count: int, *, level: float = 16.6, spread: float = 0.05, seed: int = 3
) -> list[float]:
    chance = random.Random(seed)
    return [round(level * chance.uniform(1.0 - spread, 1.0 + spread), 3) for _ in range(count)]


def raised(values: list[float]) -> dict[str, Flag]:
    return {flag.name: flag for flag in flags(frame_times(values))}


@pytest.mark.parametrize("count", [1, 7, 60, 1000, 20_000])
def test_an_ordinary_capture_has_no_flag(count: int) -> None:
    assert raised(ordinary(count)) == {}


def test_a_stutter_is_no_flag() -> None:
    values = ordinary(500)
    values[200:203] = [61.0, 48.0, 95.0]
    assert raised(values) == {}


def test_a_slower_stretch_of_real_frames_is_no_plateau() -> None:
    assert raised(ordinary(300) + ordinary(200, level=22.0) + ordinary(300)) == {}


@pytest.mark.parametrize(
    ("level", "rate"), [(16.667, "60 fps"), (8.333, "120 fps"), (7.1, "140.8")]
)
def test_a_flat_line_looks_capped(level: float, rate: str) -> None:
    flag = raised(ordinary(300, level=level, spread=0.0005))["capped"]
    assert rate in flag.what


def test_a_plateau_inside_is_found_with_its_place() -> None:
    values = ordinary(200) + ordinary(48, level=33.333, spread=0.0005) + ordinary(200)
    flag = raised(values)["plateau"]
    assert "30 fps" in flag.what
    assert flag.first is not None
    assert flag.last is not None
    assert 201 <= flag.first <= 208
    assert 241 <= flag.last <= 248


def test_a_loading_head_is_found() -> None:
    flag = raised([2411.0, 877.5, 640.2, *ordinary(90)])["loading-head"]
    assert (flag.first, flag.last) == (1, 3)


def test_frames_that_alternate_are_found() -> None:
    values = [8.3 if place % 2 else 25.0 for place in range(120)]
    assert (
        "every second frame"
        in raised([v + n * 0.001 for n, v in enumerate(values)])["alternating"].what
    )


def test_a_gap_is_found_with_its_frame() -> None:
    values = ordinary(100)
    values[50] = 5003.1
    flag = raised(values)["gap"]
    assert (flag.first, flag.where) == (51, "frame 51")


def test_a_gap_behind_the_opening_frames_is_found() -> None:
    values = ordinary(1000) * 270
    values[269_000] = 5003.1
    assert raised(values)["gap"].first == 269_001


def test_rows_that_repeat_are_found_without_a_counter() -> None:
    values = ordinary(100)
    values[40:40] = values[33:40]
    flag = raised(values)["repeated-rows"]
    assert (flag.first, flag.last) == (41, 47)
