"""Figures 1, 3 and 23: what the commands cost to start, and what a runner weighs.

Touches disk, processes and the clock. "Bare" is ``python -c pass`` of the same interpreter,
as a whole process each.
"""

from __future__ import annotations

import functools
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psutil

from bench.pairs import Line, ratio, spread

ROOT = Path(__file__).resolve().parent.parent.parent

PROCESS_PAIRS = 21  # a process takes milliseconds: many pairs cost little


def _environment() -> dict[str, str]:
    """Return an environment as a user has it: compiled modules are kept and found."""
    kept = {name: v for name, v in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPATH": str(ROOT)}


def _process(*arguments: str) -> None:
    """Run one process to its end; CalledProcessError where it does not end well."""
    subprocess.run(
        [sys.executable, *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        check=True,
        env=_environment(),
    )


def _bare() -> None:
    _process("-c", "pass")


def help_and_version() -> Iterator[Line]:
    """Figure 1: the two shortest commands against the bare interpreter."""
    for option in ("--help", "--version"):
        ask = functools.partial(_process, "-m", "harness", option)
        yield ratio(f"harness {option} / bare interpreter", ask, _bare, PROCESS_PAIRS, limit=2.5)


def large_plan(*, titles: int = 100, settings: int = 3, levels: int = 4) -> str:
    """Return the text of a plan with that many titles, settings and levels."""
    names = [f"s{number}" for number in range(settings)]
    lines = ["plan: large", "limits: none", "settings:"]
    lines += [f"  {name}: {{size: 1920x1080, preset: {name}}}" for name in names]
    lines += ["conditions:", "  load:", "    by: command", "    levels:"]
    lines += [f"      l{number}: {{command: [set-load, '{number}']}}" for number in range(levels)]
    lines.append("titles:")
    for number in range(titles):
        lines += [
            f"  - title: Copper Fen {number}",
            "    scene: causeway",
            f"    settings: [{', '.join(names)}]",
            '    command: [copper-fen, --scene, "{scene}", --size, "{size}", --at, "{preset}"]',
            "    time_limit: 3 min",
            "    frames: {file: frames.csv, column: frame_ms, unit: ms}",
        ]
    lines += [
        "passes: {warm_up: {passes: 1}, keep: 5, at_most: 8}",
        "gates: [{reading: cpu.load, at_most: 10 %, for: 5 s, give_up: 5 min, then: hold}]",
        "discard: [{rule: spread, on: average_fps, more_than: 3 %, at_most: 1}]",
    ]
    return "\n".join(lines) + "\n"


def check_large_plan() -> Line:
    """Figure 3: ``check`` of 100 titles × 3 settings × 4 levels."""
    with tempfile.TemporaryDirectory() as folder:
        plan = Path(folder, "large.yaml")
        plan.write_text(large_plan(), encoding="utf-8")
        return ratio(
            "harness check, 100 × 3 × 4 / bare interpreter",
            lambda: _process("-m", "harness", "check", str(plan)),
            _bare,
            PROCESS_PAIRS,
            limit=7.0,
        )


def runner_memory() -> Line:
    """Figure 23: the runner's resident memory, at its most, in each of seven short runs."""
    with tempfile.TemporaryDirectory() as folder:
        return spread(
            "runner, resident memory at its most",
            [_peak_mb(Path(folder, str(number))) for number in range(7)],
            limit=30.0,
            unit="MB",
        )


_LIGHT_PLAN = """
plan: light
limits: none
settings: {{one: {{frames: "40"}}}}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [one]
    command: ["{{python}}", {title}, --size, 16x16, --frames, "{{frames}}",
              --log, "{{captures}}/f.csv"]
    time_limit: 30 s
    frames: {{file: f.csv, column: frame_ms, unit: ms}}
passes: {{warm_up: {{passes: 0}}, keep: 3, at_most: 5}}
"""


def _peak_mb(folder: Path) -> float:
    """Return the most resident memory, in MB of 10^6 bytes, that one run's runner had."""
    folder.mkdir()
    plan = folder / "light.yaml"
    title = json.dumps(str(ROOT / "scripts" / "demo_title.py"))
    plan.write_text(_LIGHT_PLAN.format(title=title), encoding="utf-8")
    command = [sys.executable, "-m", "harness", "run", str(plan), "--store", str(folder / "store")]
    rig = {"HARNESS_RIG": str(folder / "rig")}
    with subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, env=_environment() | rig
    ) as runner:
        process, most = psutil.Process(runner.pid), 0
        while runner.poll() is None:
            try:
                most = max(most, process.memory_info().rss)
                mapped = " ".join(each.path for each in process.memory_maps())
                if "/numpy/" in mapped or "/pandas/" in mapped:
                    raise RuntimeError("the runner holds numpy or pandas")
            except psutil.NoSuchProcess:
                break
            try:
                runner.wait(0.005)
            except subprocess.TimeoutExpired:
                continue
    if runner.returncode:
        raise RuntimeError(f"the run ended with status {runner.returncode}")
    return most / 1e6


FIGURES = {1: help_and_version, 3: check_large_plan, 23: runner_memory}
