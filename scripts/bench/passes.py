"""Figure 21: what the harness adds between two passes, beyond the plan's gates.

Touches disk, processes and the clock. A real `harness run` of a title that leaves a log of
18 000 frames and notes when it starts and ends; a plan without gates. What lies between one
pass's end and the next one's start is the harness's: ending, keeping, reading, judging,
starting. The same title started again and again by a bare loop is taken off.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from bench.pairs import LEAST_PAIRS, Line, spread
from bench.store import frame_log

ROOT = Path(__file__).resolve().parent.parent.parent

PASSES = LEAST_PAIRS + 1  # LEAST_PAIRS gaps lie between them

#: $1 is the log of instants, $2 the frames to leave, $3 where to leave them.
_TITLE = 'date +%s%N >> "$1"; cp "$2" "$3"; sleep 1.3; date +%s%N >> "$1"'

_PLAN = """
plan: quick
limits: none
settings: {{one: {{size: 16x16}}}}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [one]
    command: [sh, -c, {title}, sh, {log}, {frames}, "{{captures}}/f.csv"]
    time_limit: 30 s
    frames: {{file: f.csv, column: frame_ms, unit: ms}}
passes: {{warm_up: {{passes: 0}}, keep: {passes}, at_most: {passes}}}
"""


def between_passes() -> Line:
    """Figure 21: from the end of a title to the next start of it, less a bare loop's."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        frames = folder / "frames.csv"
        frames.write_text(_quick(frame_log()), encoding="ascii")
        ours = _gaps_ms(folder / "ours", lambda log: _run(folder, log, frames))
        bare = statistics.median(_gaps_ms(folder / "bare", lambda log: _loop(log, frames)))
    return spread(
        "between two passes of 18 000 frames",
        [gap - bare for gap in ours],
        limit=60.0,
        unit="ms",
        note=f"a bare loop's {bare:.1f} ms are taken off",
    )


def _quick(log: str) -> str:
    """Return *log* with frames a hundredth as long, so that all fit into a second or so."""
    head, *rows = log.splitlines()
    times = ([f"{float(cell) / 100:.6f}" for cell in row.split(",")] for row in rows)
    return "\n".join([head, *(",".join(row) for row in times)]) + "\n"


def _gaps_ms(log: Path, play: Callable[[Path], None]) -> list[float]:
    """Return what lies between each end and the next start that *play* had noted in *log*."""
    play(log)
    instants = [int(line) / 1e6 for line in log.read_text(encoding="ascii").split()]
    if len(instants) != 2 * PASSES:
        raise RuntimeError(f"{len(instants)} instants were noted, {2 * PASSES} expected")
    passes = zip(instants[::2], instants[1::2], strict=True)
    return [start - end for (_, end), (start, _) in pairwise(passes)]


def _run(folder: Path, log: Path, frames: Path) -> None:
    plan = folder / "quick.yaml"
    texts = {"title": _TITLE, "log": str(log), "frames": str(frames)}
    values = {name: json.dumps(text) for name, text in texts.items()}
    plan.write_text(_PLAN.format(passes=PASSES, **values), encoding="utf-8")
    command = [sys.executable, "-m", "harness", "run", str(plan), "--store", str(folder / "store")]
    own = {"HARNESS_RIG": str(folder / "rig"), "PYTHONPATH": str(ROOT)}
    subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        check=True,
        env=os.environ | own,
    )


def _loop(log: Path, frames: Path) -> None:
    for _ in range(PASSES):
        left = f"{log}.csv"
        subprocess.run(["sh", "-c", _TITLE, "sh", str(log), str(frames), left], check=True)


FIGURES = {21: between_passes}
