"""A small plan carried out by the real command line, and what it left to be looked at."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from harness.run.ports import Entry
from harness.store.sqlite import open_store

ROOT = Path(__file__).resolve().parents[2]
TITLE = Path(__file__).with_name("quick_title.py")
KILLED = Path(__file__).with_name("killed_runner.py")

PLAN = """\
plan: small hours
conditions:
  mode:
    by: command
    levels: {{plain: {{}}, other: {{}}}}
settings:
  fhd: {{size: 1920x1080}}
titles:
  - title: Copper Fen
    scene: causeway
    settings: [fhd]
    command: ["{{python}}", {title}, "{{captures}}/frames.csv", "40", "{{mode}}"]
    time_limit: 20 s
    frames: {{file: frames.csv, column: frame_ms, unit: ms}}
passes: {{warm_up: 1, keep: 2, at_most: 4}}
{more}
limits: none
"""


@dataclass
class Place:
    """A folder with a plan, a store, a rig of its own and the title's log.

    A context manager: at its end whatever was started in it is killed, so that a test that
    fails half-way leaves no runner behind.
    """

    folder: Path
    started: list[subprocess.Popen[str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.write()

    def __enter__(self) -> Place:
        return self

    def __exit__(self, *_: object) -> None:
        for process in self.started:
            process.kill()
        for process in self.started:
            process.communicate(timeout=20)

    def write(self, more: str = "") -> None:
        text = PLAN.replace("{{", "{").replace("}}", "}")
        text = text.replace("{title}", json.dumps(str(TITLE))).replace("{more}", more)
        (self.folder / "plan.yaml").write_text(text, encoding="utf-8")

    @property
    def log(self) -> Path:
        return self.folder / "title.log"

    @property
    def store(self) -> Path:
        return self.folder / "store"

    def environment(self) -> dict[str, str]:
        return {
            **os.environ,
            "HARNESS_RIG": str(self.folder / "rig"),
            "HARNESS_STORE": str(self.store),
            "HARNESS_TITLE_LOG": str(self.log),
            "PYTHONPATH": str(ROOT),
        }

    def start(
        self, *arguments: str, killed: tuple[str, int] | None = None
    ) -> subprocess.Popen[str]:
        """Start `harness ARGUMENTS`, or the same to be killed at a point."""
        door = ["-m", "harness"] if killed is None else [str(KILLED), killed[0], str(killed[1])]
        process = subprocess.Popen(
            [sys.executable, *door, *arguments],
            cwd=self.folder,
            env=self.environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.started.append(process)
        return process

    def harness(
        self, *arguments: str, killed: tuple[str, int] | None = None
    ) -> tuple[int, str, str]:
        """Run it to its end; return status, output, errors."""
        with self.start(*arguments, killed=killed) as process:
            try:
                out, err = process.communicate(timeout=60)
            except BaseException:
                process.kill()  # or it would be waited for without end
                raise
        return process.returncode, out, err

    def json(self, *arguments: str) -> Any:
        _, out, _ = self.harness(*arguments, "--json")
        return json.loads(out)

    def entries(self, run: str | None = None) -> tuple[Entry, ...]:
        """Return every entry of the latest run, or of *run*; none where there is no run yet."""
        with open_store(self.store, write=False) as store:
            latest = [line.run for line in store.runs(limit=1)]
            names = [run] if run is not None else latest
            return tuple(entry for name in names for entry in store.entries(name))

    def captures(self) -> list[tuple[int, int, int | None]]:
        """Return (pid, start, end) of every capture, in ns; end None: it never came to it."""
        found: dict[int, list[int]] = {}
        for line in self.log.read_text(encoding="ascii").splitlines():
            _, pid, at = line.split()
            found.setdefault(int(pid), []).append(int(at))
        return [(pid, at[0], at[1] if len(at) > 1 else None) for pid, at in found.items()]
