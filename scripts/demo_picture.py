"""What the demo's renderer draws: two scenes, pixel by pixel, with sunlight and shadows.

Pure. Balls on a plain, seen by a camera that walks a loop. The picture depends on the scene,
the size, the detail and the camera alone. Culling changes how much is worked out for it, and
not one bit of it: ``whole`` holds every ray against every ball, ``tiled`` first works out,
for each tile of the picture, which balls its rays can meet.
"""

from __future__ import annotations

import functools
import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

Vector = tuple[float, float, float]

TILE = 8  #: pixels, both ways
EYE_HEIGHT = 1.6  #: of the camera above the plain
FOCUS = 1.5  #: distance of the picture from the eye, in halves of its height
SUN: Vector = (0.4802, 0.7203, -0.5002)  #: towards the sun, of length 1
DETAILS = {"low": 14, "high": 26}  #: balls in the scene


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """A ball: its centre, its radius, and its brightness from 0 to 1."""

    x: float
    y: float
    z: float
    radius: float
    bright: float


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
    return Ball(
        x=(number // 2) * 1.3 - 8.0,
        y=chance.uniform(0.5, 2.4),
        z=1.8 if number % 2 else -1.8,
        radius=chance.uniform(0.25, 0.5),
        bright=0.95,
    )


def _stone(chance: random.Random, number: int) -> Ball:
    """Stones strewn around the middle, half sunk in the plain."""
    around, out = number * 2.399963, 1.2 + 0.95 * math.sqrt(number)  # the golden angle
    size = chance.uniform(0.4, 1.0)
    return Ball(
        x=out * math.cos(around),
        y=size * 0.5,
        z=out * math.sin(around),
        radius=size,
        bright=chance.uniform(0.35, 0.7),
    )


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


# What the pixel loops read, as plain tuples: a ball as seen from the camera, with the square
# of its distance less the square of its radius; and a tile's pixels, each with its ray.
Seen = tuple[float, float, float, float, float, float]  # x, y, z, radius, bright, reach
Pixel = tuple[int, int, Vector]  # column, row, ray


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A tile of the picture: its pixels, and the cone that holds every ray of it."""

    axis: Vector
    half_angle: float
    pixels: tuple[Pixel, ...]


def _ray(column: float, row: float, *, width: int, height: int) -> Vector:
    """Return the direction, of length 1, through a point of the picture, in pixels."""
    right = (2.0 * column - width) / height
    up = (height - 2.0 * row) / height
    length = math.sqrt(right * right + up * up + FOCUS * FOCUS)
    return right / length, up / length, FOCUS / length


def _dot(a: Vector, b: Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _angle(cosine: float) -> float:
    return math.acos(max(-1.0, min(1.0, cosine)))


@functools.cache
def tiles_of(width: int, height: int, first: int, last: int) -> tuple[Tile, ...]:
    """Return the tiles of the rows from *first*, a tile's first row, to before *last*."""
    made = []
    for top in range(first, last, TILE):
        for left in range(0, width, TILE):
            axis = _ray(left + TILE / 2, top + TILE / 2, width=width, height=height)
            corners = [
                _ray(left + right, top + down, width=width, height=height)
                for right in (0, TILE)
                for down in (0, TILE)
            ]
            pixels = tuple(
                (column, row, _ray(column + 0.5, row + 0.5, width=width, height=height))
                for row in range(top, min(top + TILE, last))
                for column in range(left, min(left + TILE, width))
            )
            half_angle = max(_angle(_dot(axis, corner)) for corner in corners)
            made.append(Tile(axis=axis, half_angle=half_angle, pixels=pixels))
    return tuple(made)


@functools.cache
def balls_of(scene: str, detail: str) -> tuple[Ball, ...]:
    """Return the balls of the scene at its detail, the same on every machine."""
    chance = random.Random(f"{scene}/{detail}")
    return tuple(SCENES[scene].place(chance, number) for number in range(DETAILS[detail]))


def seen_from(scene: Scene, balls: Sequence[Ball], *, angle: float) -> tuple[list[Seen], Vector]:
    """Return the balls and the sun as seen from the camera at *angle* of its loop.

    The camera stands at the origin and looks along z; y points up.
    """
    at_x, at_z = scene.loop * math.cos(angle), scene.loop * math.sin(angle)
    look = angle + math.pi + scene.turn
    cos, sin = math.cos(look), math.sin(look)

    def turned(x: float, y: float, z: float) -> Vector:
        return z * cos - x * sin, y, x * cos + z * sin

    seen = []
    for ball in balls:
        centre = turned(ball.x - at_x, ball.y - EYE_HEIGHT, ball.z - at_z)
        reach = _dot(centre, centre) - ball.radius * ball.radius
        seen.append((*centre, ball.radius, ball.bright, reach))
    return seen, turned(*SUN)


def in_tile(balls: Sequence[Seen], tile: Tile) -> list[Seen]:
    """Return the balls that a ray of *tile* can meet, in the order given.

    A ball is met only if the cone around it touches the tile's; the angles tell.
    """
    met = []
    for ball in balls:
        x, y, z, radius, _, reach = ball
        away = math.sqrt(x * x + y * y + z * z)
        if reach <= 0.0 or (
            _angle(_dot(tile.axis, (x, y, z)) / away)
            <= tile.half_angle + math.asin(radius / away) + 1e-6
        ):
            met.append(ball)
    return met


def shaded(point: Vector, balls: Sequence[Seen], sun: Vector) -> bool:
    """Return whether a ball stands between *point* and the sun."""
    point_x, point_y, point_z = point
    sun_x, sun_y, sun_z = sun
    for x, y, z, radius, _, _ in balls:
        to_x, to_y, to_z = x - point_x, y - point_y, z - point_z
        along = to_x * sun_x + to_y * sun_y + to_z * sun_z
        if along > 0.0 and (
            to_x * to_x + to_y * to_y + to_z * to_z - along * along < radius * radius
        ):
            return True
    return False


def brightness(ray: Vector, near: Sequence[Seen], balls: Sequence[Seen], sun: Vector) -> float:
    """Return what one ray sees, from 0 to 1; *near* are the balls that it can meet."""
    ray_x, ray_y, ray_z = ray
    nearest, hit = 1e9, None
    for ball in near:
        x, y, z, _, _, reach = ball
        along = x * ray_x + y * ray_y + z * ray_z
        inside = along * along - reach
        if inside > 0.0 and along > 0.0:
            distance = along - math.sqrt(inside)
            if 0.0 < distance < nearest:
                nearest, hit = distance, ball
    plain = -EYE_HEIGHT / ray_y if ray_y < 0.0 else 1e9
    if plain < nearest:
        in_shadow = shaded((ray_x * plain, -EYE_HEIGHT, ray_z * plain), balls, sun)
        return (0.35 if in_shadow else 0.8) / (1.0 + 0.02 * plain)
    if hit is None:
        return 0.55 + 0.4 * ray_y
    x, y, z, radius, bright, _ = hit
    point = (ray_x * nearest, ray_y * nearest, ray_z * nearest)
    normal = ((point[0] - x) / radius, (point[1] - y) / radius, (point[2] - z) / radius)
    facing = _dot(normal, sun)
    # A ball never counts as its own shadow: the point is on the side that the sun sees.
    if facing <= 0.0 or shaded(point, [ball for ball in balls if ball is not hit], sun):
        return 0.2 * bright
    return bright * (0.2 + 0.8 * facing)


def band(picture: Picture, *, angle: float, first: int, last: int) -> bytes:
    """Return the grey values of the rows from *first* to before *last*, row by row."""
    scene = SCENES[picture.scene]
    balls, sun = seen_from(scene, balls_of(picture.scene, picture.detail), angle=angle)
    grey = bytearray((last - first) * picture.width)
    for tile in tiles_of(picture.width, picture.height, first, last):
        near = in_tile(balls, tile) if picture.culling == "tiled" else balls
        for column, row, ray in tile.pixels:
            lit = brightness(ray, near, balls, sun)
            grey[(row - first) * picture.width + column] = int(255 * max(0.0, min(1.0, lit)))
    return bytes(grey)
