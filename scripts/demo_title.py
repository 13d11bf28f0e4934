"""A little software renderer, to have something real to measure.

Touches disk, the clock and processes. It draws stones and lanterns on a plain, pixel by
pixel, with sunlight and shadows, while the camera walks a loop. Every frame is work that is
really done; the picture depends on the scene, the size and the detail alone, so two runs
that draw the same picture at another speed can be compared.

``--culling whole`` holds every pixel against every ball of the scene; ``tiled`` first works
out, for each tile of the picture, which balls can be seen in it. Both draw the same picture
to the last bit. That is less arithmetic on any machine, whatever its number of cores, which
two counts of workers are not.

The log is one line a frame: ``frame,frame_ms``. With ``HARNESS_TITLE_LOG`` set, the renderer
appends ``start PID NS`` and ``end PID NS`` to that file, on the machine's steady clock.
"""

from __future__ import annotations

import argparse
import concurrent.futures
import contextlib
import hashlib
import math
import os
import random
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

Vector = tuple[float, float, float]
#: Centre (x, y, z), radius, brightness from 0 to 1.
Ball = tuple[float, float, float, float, float]

TILE = 8  # pixels, both ways
EYE_HEIGHT = 1.6
SUN: Vector = (0.48, 0.72, -0.50)  # towards the sun, close to length 1
DETAILS = {"low": 14, "high": 26}  # balls in the scene


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is drawn, and the loop that the camera walks.

    Args:
        loop: Radius of the camera's loop around the middle.
        turn: Radians that the camera looks away from the middle.
        place: Chance and number -> one ball.
    """

    loop: float
    turn: float
    place: Callable[[random.Random, int], Ball]


def _lantern(chance: random.Random, number: int) -> Ball:
    """Two rows of lanterns along a quay, each at its own height."""
    along = (number // 2) * 1.3 - 8.0
    side = 1.8 if number % 2 else -1.8
    return (along, chance.uniform(0.5, 2.4), side, chance.uniform(0.25, 0.5), 0.95)


def _stone(chance: random.Random, number: int) -> Ball:
    """Stones strewn around the middle, half sunk in the plain."""
    around, out = number * 2.399963, 1.2 + 0.95 * math.sqrt(number)  # the golden angle
    size = chance.uniform(0.4, 1.0)
    x, z = out * math.cos(around), out * math.sin(around)
    return (x, size * 0.5, z, size, chance.uniform(0.35, 0.7))


SCENES = {
    "harbour loop": Scene(loop=9.0, turn=0.15, place=_lantern),
    "stone garden": Scene(loop=8.0, turn=-0.1, place=_stone),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is asked for: scene, size in pixels, detail, culling."""

    scene: str
    width: int
    height: int
    detail: str
    culling: str


def balls_of(picture: Picture) -> list[Ball]:
    """Return the balls of the scene at its detail, the same on every machine."""
    chance = random.Random(f"{picture.scene}/{picture.detail}")
    scene = SCENES[picture.scene]
    return [scene.place(chance, number) for number in range(DETAILS[picture.detail])]


def seen(balls: Sequence[Ball], scene: Scene, *, angle: float) -> tuple[list[Ball], Vector]:
    """Return the balls and the sun as seen from the camera at *angle* of its loop.

    The camera stands at the origin and looks along z; y points up.
    """
    at_x, at_z = scene.loop * math.cos(angle), scene.loop * math.sin(angle)
    look = angle + math.pi + scene.turn
    cos, sin = math.cos(look), math.sin(look)

    def turned(x: float, z: float) -> tuple[float, float]:
        return z * cos - x * sin, x * cos + z * sin

    moved = []
    for x, y, z, radius, bright in balls:
        right, ahead = turned(x - at_x, z - at_z)
        moved.append((right, y - EYE_HEIGHT, ahead, radius, bright))
    sun_right, sun_ahead = turned(SUN[0], SUN[2])
    return moved, (sun_right, SUN[1], sun_ahead)


def ray_through(column: float, row: float, picture: Picture) -> Vector:
    """Return the direction, of length 1, through a point of the picture, in pixels."""
    right = (2.0 * column - picture.width) / picture.height
    up = (picture.height - 2.0 * row) / picture.height
    length = math.sqrt(right * right + up * up + 2.25)
    return right / length, up / length, 1.5 / length


def in_tile(balls: Sequence[Ball], column: int, row: int, picture: Picture) -> list[Ball]:
    """Return the balls that a ray of the tile can meet, in the order given.

    The rays of a tile lie in a cone around the ray through its middle; a ball is met only
    if its own cone touches that one. The cones are compared by their angles.
    """
    axis = ray_through(column + TILE / 2, row + TILE / 2, picture)
    corners = ((column + c, row + r) for c in (0, TILE) for r in (0, TILE))
    cosines = (
        sum(a * b for a, b in zip(axis, ray_through(*corner, picture), strict=True))
        for corner in corners
    )
    width = math.acos(min(1.0, *cosines))
    met = []
    for ball in balls:
        x, y, z, radius, _ = ball
        away = math.sqrt(x * x + y * y + z * z)
        if away <= radius:
            met.append(ball)
            continue
        between = math.acos(
            max(-1.0, min(1.0, (axis[0] * x + axis[1] * y + axis[2] * z) / away))
        )
        if between <= width + math.asin(radius / away) + 1e-6:
            met.append(ball)
    return met


def shaded(x: float, y: float, z: float, sun: Vector, balls: Sequence[Ball]) -> bool:
    """Return whether a ball stands between the point and the sun."""
    sun_x, sun_y, sun_z = sun
    for ball_x, ball_y, ball_z, radius, _ in balls:
        to_x, to_y, to_z = ball_x - x, ball_y - y, ball_z - z
        along = to_x * sun_x + to_y * sun_y + to_z * sun_z
        if along > 0.0:
            apart = to_x * to_x + to_y * to_y + to_z * to_z - along * along
            if apart < radius * radius:
                return True
    return False


def brightness(ray: Vector, near: Sequence[Ball], balls: Sequence[Ball], sun: Vector) -> float:
    """Return what one ray sees, from 0 to 1; *near* are the balls that it can meet."""
    ray_x, ray_y, ray_z = ray
    nearest, hit = 1e9, None
    for ball in near:
        x, y, z, radius, _ = ball
        along = x * ray_x + y * ray_y + z * ray_z
        if along > 0.0:
            inside = along * along - (x * x + y * y + z * z - radius * radius)
            if inside > 0.0:
                distance = along - math.sqrt(inside)
                if 0.0 < distance < nearest:
                    nearest, hit = distance, ball
    plain = -EYE_HEIGHT / ray_y if ray_y < 0.0 else 1e9
    if plain < nearest:
        x, z = ray_x * plain, ray_z * plain
        lit = 0.35 if shaded(x, -EYE_HEIGHT, z, sun, balls) else 0.8
        return lit / (1.0 + 0.01 * plain)
    if hit is None:
        return 0.55 + 0.4 * ray_y
    x, y, z = ray_x * nearest, ray_y * nearest, ray_z * nearest
    radius = hit[3]
    normal = ((x - hit[0]) / radius, (y - hit[1]) / radius, (z - hit[2]) / radius)
    facing = normal[0] * sun[0] + normal[1] * sun[1] + normal[2] * sun[2]
    if facing <= 0.0 or shaded(
        x + 1e-3 * normal[0], y + 1e-3 * normal[1], z + 1e-3 * normal[2], sun, balls
    ):
        return 0.2 * hit[4]
    return hit[4] * (0.2 + 0.8 * facing)


def band(picture: Picture, *, frame: int, frames: int, first: int, last: int) -> bytes:
    """Return the grey values of the rows from *first* to before *last*, row by row.

    *first* must be the first row of a tile.
    """
    scene = SCENES[picture.scene]
    balls, sun = seen(balls_of(picture), scene, angle=2 * math.pi * frame / frames)
    width, rows = picture.width, bytearray((last - first) * picture.width)
    for top in range(first, last, TILE):
        for left in range(0, width, TILE):
            near = balls if picture.culling == "whole" else in_tile(balls, left, top, picture)
            for row in range(top, min(top + TILE, last)):
                for column in range(left, min(left + TILE, width)):
                    ray = ray_through(column + 0.5, row + 0.5, picture)
                    grey = brightness(ray, near, balls, sun)
                    rows[(row - first) * width + column] = int(255 * max(0.0, min(1.0, grey)))
    return bytes(rows)


Draw = Callable[[int], bytes]


@contextlib.contextmanager
def drawing(picture: Picture, *, frames: int, workers: int) -> Iterator[Draw]:
    """Give a function that draws one frame, with as many processes as *workers*."""
    if workers == 1:
        yield lambda frame: band(
            picture, frame=frame, frames=frames, first=0, last=picture.height
        )
        return
    tiles = math.ceil(picture.height / TILE)
    edges = [min(TILE * (tiles * n // workers), picture.height) for n in range(workers + 1)]
    with concurrent.futures.ProcessPoolExecutor(workers) as pool:

        def draw(frame: int) -> bytes:
            parts = [
                pool.submit(band, picture, frame=frame, frames=frames, first=first, last=last)
                for first, last in zip(edges, edges[1:], strict=False)
            ]
            return b"".join(part.result() for part in parts)

        draw(0)  # the workers start now, not in the first measured frame
        yield draw


@contextlib.contextmanager
def on_record() -> Iterator[None]:
    """Note start and end in the file that HARNESS_TITLE_LOG names, if it names one."""
    log = os.environ.get("HARNESS_TITLE_LOG")

    def note(word: str) -> None:
        if log:
            line = f"{word} {os.getpid()} {time.monotonic_ns()}\n"
            descriptor = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
            try:
                os.write(descriptor, line.encode("ascii"))  # one write: lines never mix
            finally:
                os.close(descriptor)

    note("start")
    try:
        yield
    finally:
        note("end")


def _size(text: str) -> tuple[int, int]:
    width, cross, height = text.partition("x")
    if not (cross and width.isascii() and width.isdecimal() and height.isdecimal()):
        raise argparse.ArgumentTypeError(f"{text!r} is no size: write it as 64x36")
    if not (TILE <= int(width) <= 4096 and TILE <= int(height) <= 4096):
        raise argparse.ArgumentTypeError(f"{text!r}: a side has {TILE} to 4096 pixels")
    return int(width), int(height)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and 1 <= int(text) <= 100_000):
        raise argparse.ArgumentTypeError(f"{text!r} is no count from 1 to 100000")
    return int(text)


def parser() -> argparse.ArgumentParser:
    """Return the parser of the renderer's own command line."""
    made = argparse.ArgumentParser(description="Draw a scene and log the time of every frame.")
    made.add_argument("--scene", choices=sorted(SCENES), default="harbour loop")
    made.add_argument("--size", type=_size, default=(72, 40), help="pixels, as 72x40")
    made.add_argument("--detail", choices=sorted(DETAILS), default="high")
    made.add_argument("--culling", choices=("whole", "tiled"), default="tiled")
    made.add_argument("--workers", type=_count, default=1, help="processes that draw")
    made.add_argument("--frames", type=_count, default=160, help="frames of one loop")
    made.add_argument("--log", type=Path, help="where to write the time of every frame")
    made.add_argument("--picture", type=Path, help="where to write the last frame (PGM)")
    return made


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw every frame of the loop, time each, write the log. Return the exit status."""
    asked = parser().parse_args(arguments)
    width, height = asked.size
    picture = Picture(
        scene=asked.scene, width=width, height=height, detail=asked.detail, culling=asked.culling
    )
    print(
        f"rendering {asked.scene} at {width}x{height}, detail {asked.detail}, "
        f"culling {asked.culling}, workers {asked.workers}",
        flush=True,
    )
    durations_ns: list[int] = []
    last, drawn = b"", hashlib.sha256()
    with on_record():
        with drawing(picture, frames=asked.frames, workers=asked.workers) as draw:
            for frame in range(asked.frames):
                began_ns = time.perf_counter_ns()
                last = draw(frame)
                durations_ns.append(time.perf_counter_ns() - began_ns)
                drawn.update(last)
        if asked.log:
            lines = [f"{n},{ns / 1e6:.6f}\n" for n, ns in enumerate(durations_ns, start=1)]
            asked.log.write_text("frame,frame_ms\n" + "".join(lines), encoding="ascii")
        if asked.picture:
            asked.picture.write_bytes(b"P5 %d %d 255\n" % (width, height) + last)
    print(
        f"{len(durations_ns)} frames in {sum(durations_ns) / 1e9:.3f} s, "
        f"pictures {drawn.hexdigest()[:12]}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
