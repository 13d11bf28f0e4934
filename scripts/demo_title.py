"""A little software renderer, to have something real to measure.

Touches disk, the clock and processes. Every frame is work that is really done (see
demo_picture.py), timed and logged, one line a frame: ``frame,frame_ms``.

``--culling whole`` and ``--culling tiled`` draw the same pictures to the last bit, the second
with less arithmetic. That makes a difference on any machine, whatever its number of cores;
``--workers 2`` makes one only where there is a second core.

With ``HARNESS_TITLE_LOG`` set, the renderer appends ``start PID NS`` and ``end PID NS`` to
that file, NS being nanoseconds on the machine's steady clock.
"""

from __future__ import annotations

import argparse
import concurrent.futures
import contextlib
import hashlib
import math
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from demo_picture import DETAILS, SCENES, TILE, Picture, band

Draw = Callable[[int], bytes]


@contextlib.contextmanager
def drawing(picture: Picture, *, frames: int, workers: int) -> Iterator[Draw]:
    """Give a function that draws one frame, with as many processes as *workers*."""
    step = 2 * math.pi / frames
    if workers == 1:
        yield lambda frame: band(picture, angle=step * frame, first=0, last=picture.height)
        return
    # A task for each row of tiles: rows differ in work, and the workers share it evenly.
    rows = [(top, min(top + TILE, picture.height)) for top in range(0, picture.height, TILE)]
    with concurrent.futures.ProcessPoolExecutor(workers) as pool:

        def draw(frame: int) -> bytes:
            parts = [
                pool.submit(band, picture, angle=step * frame, first=first, last=last)
                for first, last in rows
            ]
            return b"".join(part.result() for part in parts)

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
            draw(0)  # start workers and fill tables now, not in the first frame that counts
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
