"""A title for tests: draws nothing for a third of a second and logs every frame it did.

Usage: quick_title.py FRAMES_CSV [FRAMES]. Notes its start and end in HARNESS_TITLE_LOG, so
that a test can prove that no two captures ever ran at the same time.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path


def note(word: str) -> None:
    log = os.environ.get("HARNESS_TITLE_LOG")
    if log:
        descriptor = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        os.write(descriptor, f"{word} {os.getpid()} {time.monotonic_ns()}\n".encode("ascii"))
        os.close(descriptor)


def main() -> int:
    note("start")
    frames = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    lines = ["frame,frame_ms\n"]
    for frame in range(frames):
        began_ns = time.perf_counter_ns()
        time.sleep(0.004 + 0.0005 * (frame % 3))
        took_ms = (time.perf_counter_ns() - began_ns) / 1e6
        lines.append(f"{frame + 1},{took_ms:.6f}\n")
    Path(sys.argv[1]).write_text("".join(lines), encoding="ascii")
    note("end")
    return 0


if __name__ == "__main__":
    sys.exit(main())
