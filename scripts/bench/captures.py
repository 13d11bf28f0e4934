"""Figures 4 to 8: captures read strictly, against the bare interpreter, pandas and numpy.

Touches disk, processes and the clock. The captures are made here, with three columns and a
counter, as a frame log has them. Figure 6 works on ten million rows (some 210 MB).
"""

from __future__ import annotations

import functools
import os
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from bench.pairs import Line, ratio, spread

ROOT = Path(__file__).resolve().parent.parent.parent
ORDINARY_FRAMES = 18_000
LARGE_FRAMES = 10_000_000
PROCESS_PAIRS = 21
LARGE_PAIRS = 7

_FOLDER = tempfile.TemporaryDirectory(prefix="harness-bench-captures-")


@functools.cache
def _log(frames: int) -> Path:
    """Return a frame log of so many frames; made once."""
    path = Path(_FOLDER.name) / f"frames-{frames}.csv"
    chance = np.random.default_rng(11)
    row = "{},{:.3f},{:.3f}\n".format
    with path.open("w") as file:
        file.write("frame_no,frame_ms,cpu_ms\n")
        for start in range(0, frames, 500_000):
            count = min(500_000, frames - start)
            times = chance.normal(16.6, 1.5, count).clip(5.0, 60.0).tolist()
            others = chance.uniform(3.0, 9.0, count).tolist()
            file.writelines(map(row, range(start + 1, start + count + 1), times, others))
    return path


def _environment() -> dict[str, str]:
    kept = {name: v for name, v in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPATH": str(ROOT)}


def _process(*arguments: str) -> None:
    subprocess.run(
        [sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True, env=_environment()
    )


def ordinary_capture() -> Iterator[Line]:
    """Figure 4: a fresh process, the file to the table of figures, against the bare one."""
    path = str(_log(ORDINARY_FRAMES))
    for more in ((), ("--json",)):
        command = ("-m", "harness", "figures", path, "--column", "frame_ms", "--unit", "ms", *more)
        yield ratio(
            f"figures {' '.join(more) or 'as a table'}, 18 000 frames / bare",
            functools.partial(_process, *command),
            functools.partial(_process, "-c", "pass"),
            PROCESS_PAIRS,
            limit=4.5,
        )


def _figured(path: Path, *, with_pyarrow: bool | None = None) -> None:
    from harness.rig.captures.declared import Declared
    from harness.rig.captures.read import read_capture
    from harness.rules.figures import figures
    from harness.rules.flags import flags

    declared = Declared(column="frame_ms", unit="ms")
    capture = read_capture(str(path), declared, with_pyarrow=with_pyarrow)
    assert capture.times is not None
    assert not capture.troubles
    figures(capture.times)
    flags(capture.times)


def _pandas(path: Path) -> None:
    import pandas as pd

    pd.read_csv(path)


def warm_capture() -> Iterator[Line]:
    """Figure 5: the same in a process that has read captures before."""
    path = _log(ORDINARY_FRAMES)
    for name, way in (("pyarrow loaded", True), ("standard library alone", False)):
        yield ratio(
            f"18 000 frames, warm, {name} / pandas.read_csv",
            functools.partial(_figured, path, with_pyarrow=way),
            functools.partial(_pandas, path),
            PROCESS_PAIRS,
            limit=0.5 if way else None,
        )


def large_capture() -> Line:
    """Figure 6: ten million frames, strict, with figures and flags."""
    path = _log(LARGE_FRAMES)
    return ratio(
        "10 000 000 frames / pandas.read_csv",
        functools.partial(_figured, path, with_pyarrow=True),
        functools.partial(_pandas, path),
        LARGE_PAIRS,
        limit=1.1,
    )


_PEAK = """
    import sys
    sys.path.insert(0, {root!r})
    from harness.rig.captures.declared import Declared
    from harness.rig.captures.read import read_capture
    from harness.rules.figures import figures
    from harness.rules.flags import flags
    capture = read_capture({path!r}, Declared(column="frame_ms", unit="ms"), with_pyarrow={way})
    figures(capture.times), flags(capture.times)
    # Not ru_maxrss: that begins at what the process had that started this one.
    print(next(l.split()[1] for l in open("/proc/self/status") if l.startswith("VmHWM")))
"""


def peak_memory() -> Iterator[Line]:
    """Figure 7: the largest resident set of a process that reads ten million frames."""
    path = str(_log(LARGE_FRAMES))
    for name, way in (("pyarrow", True), ("standard library", False)):
        code = textwrap.dedent(_PEAK).format(root=str(ROOT), path=path, way=way)
        peaks = [
            int(subprocess.check_output([sys.executable, "-c", code], text=True)) / 1024.0
            for _ in range(3 if way else 2)
        ]
        yield spread(f"peak memory, 10 000 000 frames, {name}", peaks, limit=450.0, unit="MB")


def order_statistics() -> Line:
    """Figure 8: every figure of ten million frames, from pieces, against one np.sort."""
    from harness.rig.captures import wide
    from harness.rig.captures.times import Blocks, FrameTimes, Runs
    from harness.rules.figures import figures

    values = np.random.default_rng(11).normal(16.6, 1.5, LARGE_FRAMES).clip(5.0, 60.0).round(3)
    pieces = np.array_split(values, 25)

    def ours() -> None:
        by_size = wide.BySize(lambda run: run)
        for piece in pieces:
            by_size.add(piece)
        times = FrameTimes(
            runs=Runs(by_size.runs()),
            total_ms=by_size.total(),
            blocks=Blocks(),
            opening=values[:1].tolist(),
        )
        figures(times)

    return ratio(
        "all figures of 10 000 000 frames / one np.sort",
        ours,
        lambda: _drop(np.sort(values)),
        LARGE_PAIRS,
        limit=1.2,
    )


def _drop(_: object) -> None:
    """Let go of a result."""


FIGURES = {
    4: ordinary_capture,
    5: warm_capture,
    6: large_capture,
    7: peak_memory,
    8: order_statistics,
}
