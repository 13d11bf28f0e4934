"""A process of its own beside the runner, that asks one sensor of the lab and keeps its lines.

Touches processes, the network and disk. Whatever the sensor does, it does it here: the runner
only reads the last lines (``harness.rig.sensors.board``). It ends when the runner does, since
its standard input then closes, and takes the sensor's whole process group with it.

    a command without ``every``   is kept running; each line counts when it comes
    a command with ``every``      is started anew each time, within its time limit
    a URL                         is asked anew each time, on this machine only
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import IO

from harness.rig.clock import MachineClock
from harness.rig.sensors.board import Board, BoardFile
from harness.rig.sensors.outside_lines import said

#: Of one answer: what comes behind is not read.
MOST_BYTES = 65_536
#: A line of a command that is kept running may have this many bytes.
_MOST_LINE = 4096
#: A command that ended by itself is started again after so long, seconds.
AGAIN_S = 5.0
_SET_SUBREAPER = 36  # linux/prctl.h


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """What is asked, how, and where its lines are kept."""

    board: str
    folder: str
    command: tuple[str, ...] = ()
    url: str = ""
    every_s: float | None = None  #: None: the command is kept running
    time_limit_s: float = 2.0


class Feeder:
    """Asks one sensor until it is told to stop."""

    def __init__(self, feed: Feed) -> None:
        self._feed, self._clock = feed, MachineClock()
        self._file = BoardFile(Path(feed.board), write=True)
        self._board = Board()
        self._over = threading.Event()
        self._process: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()

    def run(self) -> None:
        """Ask again and again."""
        while not self._over.is_set():
            if self._feed.url:
                self._ask_url()
            elif self._feed.every_s is not None:
                self._ask_command()
            else:
                self._follow_command()
            self._over.wait(AGAIN_S if self._feed.every_s is None else self._feed.every_s)

    def stop(self) -> None:
        """Ask no more, and end what was started."""
        self._over.set()
        with self._lock:
            if self._process is not None:
                end_group(self._process)

    # --- the three ways ------------------------------------------------------------------

    def _ask_url(self) -> None:
        try:
            text = fetched(self._feed.url, time_limit_s=self._feed.time_limit_s)
        except (OSError, ValueError) as error:
            self._fails(f"{self._feed.url} cannot be read: {error}")
            return
        self._takes(text)

    def _ask_command(self) -> None:
        process = self._started()
        if process is None:
            return
        assert process.stdout is not None
        late = threading.Timer(self._feed.time_limit_s, end_group, [process])
        late.start()
        last = _Last(process.stderr)
        out = process.stdout.read(MOST_BYTES + 1)
        in_time = late.is_alive()
        if len(out) > MOST_BYTES:
            end_group(process)
        status = process.wait()
        late.cancel()
        end_group(process)  # what it left behind
        if len(out) > MOST_BYTES:
            self._fails(f"its command printed more than {MOST_BYTES // 1024} KiB")
        elif not in_time:
            self._fails(f"its command did not end within {self._feed.time_limit_s:g} s")
        elif status:
            self._fails(_ended(status, last.line))
        else:
            self._takes(out.decode(errors="replace"))

    def _follow_command(self) -> None:
        process = self._started()
        if process is None:
            return
        last = _Last(process.stderr)
        for number, line in enumerate(_lines(process.stdout), start=1):
            self._takes(line.decode(errors="replace"), first_line=number)
        status = process.wait()
        end_group(process)  # what it left behind
        self._fails(_ended(status, last.line))

    # --- what they share -----------------------------------------------------------------

    def _started(self) -> subprocess.Popen[bytes] | None:
        with self._lock:
            if self._over.is_set():
                return None
            try:
                self._process = started(self._feed.command, folder=self._feed.folder)
            except OSError as error:
                program = self._feed.command[0]
                self._fails(f"{program} cannot be started: {error.strerror or error}")
                return None
            return self._process

    def _takes(self, text: str, *, first_line: int = 1) -> None:
        at_s = self._clock.steady_s()
        for found in said(text):
            self._board.put(replace(found, line=found.line + first_line - 1), at_s=at_s)
        self._board.trouble = None
        self._file.write(self._board)

    def _fails(self, why: str) -> None:
        self._board.trouble = why
        self._file.write(self._board)


class _Last:
    """Reads a pipe empty in a thread of its own, and keeps its last line."""

    def __init__(self, pipe: IO[bytes] | None) -> None:
        self.line = b""
        self._pipe = pipe
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        for line in _lines(self._pipe):
            self.line = line.strip() or self.line


def _lines(pipe: IO[bytes] | None) -> Iterator[bytes]:
    """Yield the lines of a pipe as they come; one that is too long is given in parts."""
    assert pipe is not None
    return iter(partial(pipe.readline, _MOST_LINE), b"")


def _ended(status: int, said_last: bytes) -> str:
    told = f", saying: {said_last[:120].decode(errors='replace')}" if said_last else ""
    how = f"ended with status {status}" if status >= 0 else f"was ended by signal {-status}"
    return f"its command {how}{told}"


def started(argv: Sequence[str], *, folder: str) -> subprocess.Popen[bytes]:
    """Start a command in a group of its own, without a terminal and without input.

    Raises:
        OSError: the system refused.
    """
    windows = sys.platform == "win32"
    return subprocess.Popen(
        list(argv),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=folder,
        start_new_session=not windows,
        creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0) if windows else 0,
    )


def end_group(process: subprocess.Popen[bytes]) -> None:
    """End a command and all that is in its group, at once."""
    with contextlib.suppress(OSError):
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)


def fetched(url: str, *, time_limit_s: float) -> str:
    """Return what stands at an address of this machine.

    No proxy, no other host, no redirection is followed.

    Raises:
        OSError: nobody answers in time.
        ValueError: the answer is no HTTP, not 200, or longer than it may be.
    """
    import http.client  # only a sensor with an address pays for it
    from urllib.parse import urlsplit

    parts = urlsplit(url)
    connection = http.client.HTTPConnection(
        parts.hostname or "", parts.port or 80, timeout=time_limit_s
    )
    try:
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        connection.request("GET", target)
        answer = connection.getresponse()
        if answer.status != http.client.OK:
            raise ValueError(f"status {answer.status}")
        body = answer.read(MOST_BYTES + 1)
    except http.client.HTTPException as error:
        raise ValueError(f"it is no HTTP: {type(error).__name__}") from error
    finally:
        connection.close()
    if len(body) > MOST_BYTES:
        raise ValueError(f"the answer has more than {MOST_BYTES // 1024} KiB")
    return body.decode(errors="replace")


def main() -> None:
    """Feed until standard input closes."""
    given = json.loads(sys.argv[1])
    feeder = Feeder(Feed(**{**given, "command": tuple(given["command"])}))
    if sys.platform == "linux":
        import ctypes

        # What its command leaves behind stays below it, and is not taken for the title's.
        ctypes.CDLL(None).prctl(_SET_SUBREAPER, 1, 0, 0, 0)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)  # the runner ends it, by closing its input
    threading.Thread(target=feeder.run, daemon=True).start()
    while sys.stdin.buffer.read(4096):
        pass
    feeder.stop()
