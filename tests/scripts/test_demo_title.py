"""The demo's renderer: the same pictures whichever way, real frame times, an honest log."""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path

import pytest

import demo_title
from demo_picture import SCENES, Ball, Picture, Scene, balls_of, band, in_tile, seen_from, tiles_of

SCRIPT = Path(demo_title.__file__)


def picture(**asked: str | int) -> Picture:
    given: dict[str, str | int] = {
        "scene": "harbour loop", "width": 24, "height": 16, "detail": "low", "culling": "whole"
    }  # fmt: skip
    return Picture(**(given | asked))  # type: ignore[arg-type]


def drawn(asked: Picture, angle: float) -> bytes:
    return band(asked, angle=angle, first=0, last=asked.height)


@pytest.mark.parametrize("scene", SCENES)
@pytest.mark.parametrize("angle", [0.0, 1.0, 2.5, 4.0])
def test_culling_does_not_change_one_bit_of_the_picture(scene: str, angle: float) -> None:
    whole = drawn(picture(scene=scene, detail="high"), angle)
    tiled = drawn(picture(scene=scene, detail="high", culling="tiled"), angle)

    assert tiled == whole


@pytest.mark.parametrize("scene", SCENES)
def test_culling_leaves_work_out(scene: str) -> None:
    asked = picture(scene=scene, detail="high")
    balls, _ = seen_from(SCENES[scene], balls_of(asked.scene, asked.detail), angle=0.0)
    tiles = tiles_of(asked.width, asked.height, 0, asked.height)

    assert sum(len(in_tile(balls, tile)) for tile in tiles) < 0.6 * len(balls) * len(tiles)


def test_bands_put_together_are_the_whole_picture() -> None:
    asked = picture()

    upper = band(asked, angle=1.0, first=0, last=8)
    lower = band(asked, angle=1.0, first=8, last=16)

    assert upper + lower == drawn(asked, 1.0)


def test_the_camera_sees_a_ball_ahead_where_it_is() -> None:
    # Plane geometry by hand: from (5, 0) looking at the middle, a ball there is 5 ahead.
    still = Scene(loop=5.0, turn=0.0, place=lambda _chance, _number: ball)
    ball = Ball(x=0.0, y=1.6, z=0.0, radius=1.0, bright=1.0)

    [(right, up, ahead, radius, bright, reach)], _ = seen_from(still, [ball], angle=0.0)

    assert (right, up, ahead) == pytest.approx((0.0, 0.0, 5.0))
    assert (radius, bright) == (1.0, 1.0)
    assert reach == pytest.approx(5.0**2 - 1.0**2)


def run(*arguments: str, log: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(SCRIPT), *arguments],
        capture_output=True,
        check=False,
        encoding="utf-8",
        env={"HARNESS_TITLE_LOG": str(log)} if log else {},
    )


SHORT = ("--size", "16x16", "--detail", "low", "--frames", "4")


def test_it_logs_the_time_of_every_frame(tmp_path: Path) -> None:
    log = tmp_path / "frames.csv"

    done = run(*SHORT, "--log", str(log))

    with log.open(encoding="ascii", newline="") as file:
        rows = list(csv.DictReader(file))
    assert done.returncode == 0
    assert [row["frame"] for row in rows] == ["1", "2", "3", "4"]
    assert all(float(row["frame_ms"]) > 0 for row in rows)


def test_two_workers_draw_the_same_pictures() -> None:
    outputs = {run(*SHORT, "--workers", count).stdout.split()[-1] for count in ("1", "2")}

    assert len(outputs) == 1


def test_its_start_and_end_are_on_record(tmp_path: Path) -> None:
    log = tmp_path / "title.log"

    run(*SHORT, log=log)
    run(*SHORT, log=log)

    lines = [line.split() for line in log.read_text(encoding="ascii").splitlines()]
    assert [word for word, _, _ in lines] == ["start", "end"] * 2
    assert [pid for _, pid, _ in lines[:2]] == [lines[0][1]] * 2
    times = [int(ns) for _, _, ns in lines]
    assert times == sorted(times)


@pytest.mark.parametrize("size", ["x", "16", "16x", "7x16", "16x9999", "1.5x16", "²x16"])
def test_a_size_that_is_none_is_refused(size: str) -> None:
    done = run("--size", size)

    assert done.returncode == 2
    assert "Traceback" not in done.stderr
