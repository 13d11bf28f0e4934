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


def test_a_log_that_has_every_row_twice_is_told_without_a_counter() -> None:
    flag = raised([value for value in ordinary(100) for _ in range(2)])["repeated-rows"]
    assert (flag.what, flag.first) == ("every frame comes 2 times, one behind the other", None)


def test_a_warm_up_inside_the_capture_is_told_with_what_it_does_to_the_average() -> None:
    # Shaders compile for the first fifth: those frames take half as long again.
    values = ordinary(200, level=25.0, seed=5) + ordinary(800)
    flag = raised(values)["settling"]
    assert (flag.first, flag.last) == (1, 200)
    # By hand: (200 x 25 + 800 x 16.6) / 1000 / 16.6 = 1.101.
    assert flag.what.startswith("the steady part begins after 200 frames, 5.018 s")
    assert "without them the average is 10" in flag.what


def test_a_first_part_that_hardly_moves_the_average_is_no_flag() -> None:
    assert raised(ordinary(20, level=20.0) + ordinary(2000)) == {}


def test_a_capture_that_never_settles_has_no_steady_part_to_name() -> None:
    assert "settling" not in raised([10.0 + n / 100 for n in range(1000)])


def test_a_loading_head_is_told_once() -> None:
    found = raised([400.0] * 5 + ordinary(1000))
    assert "loading-head" in found
    assert "settling" not in found
