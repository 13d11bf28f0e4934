"""``harness sensors --watch`` in a terminal of its own, and with none."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
WATCH = [sys.executable, "-m", "harness", "sensors", "--watch", "--every", "200 ms"]


@contextmanager
def watching(folder: Path, **more: str) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """Start it in a pseudo-terminal; give the process and our end of the terminal."""
    ours, theirs = pty.openpty()
    env = {**os.environ, "HARNESS_RIG": str(folder), "TERM": "xterm", **more}
    env = {name: text for name, text in env.items() if text}
    with subprocess.Popen(WATCH, stdin=theirs, stdout=theirs, cwd=ROOT, env=env) as process:
        os.close(theirs)
        try:
            yield process, ours
        finally:
            process.kill()
            os.close(ours)


def shown(terminal: int, *, until: bytes, times: int) -> bytes:
    """Return what comes, until *until* has come so often."""
    seen = b""
    deadline_s = time.monotonic() + 20
    while seen.count(until) < times:
        assert time.monotonic() < deadline_s, seen
        seen += os.read(terminal, 65536)
    return seen


def test_it_draws_over_itself_and_ends_with_ctrl_c(tmp_path: Path) -> None:
    with watching(tmp_path) as (process, terminal):
        seen = shown(terminal, until=b"Ctrl-C ends", times=3)
        process.send_signal(signal.SIGINT)
        rest = shown(terminal, until=b"\x1b[?25h", times=1)
        assert process.wait(timeout=10) == 0
    assert seen.count(b"\x1b[?25l") == 1  # the cursor is hidden once, and given back
    assert b"A\r\x1b[1mreading" in seen
    assert b"Traceback" not in seen + rest


def test_without_colour_there_is_none(tmp_path: Path) -> None:
    with watching(tmp_path, NO_COLOR="1") as (_, terminal):
        seen = shown(terminal, until=b"Ctrl-C ends", times=2)
    assert b"\x1b[1m" not in seen
    assert b"\x1b[2m" not in seen


def test_without_a_terminal_there_is_a_line_for_every_reading_and_look(tmp_path: Path) -> None:
    env = {**os.environ, "HARNESS_RIG": str(tmp_path)}
    with subprocess.Popen(WATCH, stdout=subprocess.PIPE, cwd=ROOT, env=env) as process:
        assert process.stdout is not None
        lines: list[bytes] = []
        while sum(b"  memory.available  " in line for line in lines) < 3:
            lines.append(process.stdout.readline())
        process.send_signal(signal.SIGINT)
        process.stdout.read()
        assert process.wait(timeout=10) == 0
    assert not any(b"\x1b" in line for line in lines)
    assert sum(b"  room.temperature  not measured: " in line for line in lines) == 1
