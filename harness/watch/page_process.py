"""The page beside the watch: a process of its own, started again when it ends.

Touches processes and disk. The daemon serves nothing: a page that fails, or whose port somebody
has, costs lines in the log and no more. None is started while a pass is measured. The page ends
with the daemon, also with one that is killed; what it said last is in ``page.log``.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Any, Protocol

from harness.settings import DAEMON
from harness.watch.ports import Log

FILE = "page.log"
MOST_BYTES = 1_000_000  #: of that file; then it begins anew
#: A page that ends is started again after the first wait, doubled each time up to the second;
#: one that has lived so long begins with the first wait again; seconds.
FIRST_S, MOST_S, LIVED_S = 5.0, 600.0, 600.0
STOP_S = 5.0
_WORDS_BYTES = 500


class Child(Protocol):
    """A page that was started."""

    pid: int

    def descriptors(self) -> tuple[int, ...]:
        """Return what becomes readable when it says something or ends."""
        ...

    def address(self) -> str:
        """Return where it is reached; empty: it has not said so yet."""
        ...

    def poll(self) -> int | None:
        """Return its exit status, or None."""
        ...

    def last_words(self) -> str:
        """Return why it ended, as far as it said so."""
        ...

    def end(self) -> None:
        """End it, in order if it will."""
        ...


class PageProcess:
    """Keeps one page going.

    Args:
        start: Starts one.
        log: Told where it is, and when it ended.
        steady_s: The steady clock.
    """

    def __init__(
        self, start: Callable[[], Child], *, log: Log, steady_s: Callable[[], float]
    ) -> None:
        self._start, self._log, self._steady_s = start, log, steady_s
        self._child: Child | None = None
        self._began_s = 0.0
        self._told = False  # where it is
        self._wait_s, self._not_before_s = FIRST_S, 0.0
        self._why = ""  # what was last said of its end: said once

    def look(self, *, quiet: bool) -> float | None:
        """Take note of the page, and start one where there is none; *quiet*: a pass runs.

        Returns:
            Seconds until the next look is worth it; None: nothing is to be done.
        """
        if self._child is not None:
            self._look_at(self._child)
        if self._child is not None or quiet:
            return None
        wait_s = self._not_before_s - self._steady_s()
        if wait_s > 0:
            return wait_s
        try:
            self._child = self._start()
        except OSError as error:
            self._over(str(error))
            return self._wait_s
        self._began_s, self._told = self._steady_s(), False
        return None

    def process(self) -> tuple[int, ...]:
        """Return the number of its process: whoever ends a runner's tree spares it."""
        return () if self._child is None else (self._child.pid,)

    def descriptors(self) -> tuple[int, ...]:
        """Return what becomes readable when it says something or ends."""
        return () if self._child is None else self._child.descriptors()

    def stop(self) -> None:
        """End it for good."""
        if self._child is not None:
            self._child.end()
            self._child = None

    def _look_at(self, child: Child) -> None:
        status = child.poll()
        address = child.address()
        if address and not self._told:
            self._told, self._why = True, ""
            self._log.info("the page is there", address=address)
        if status is None:
            return
        if self._steady_s() - self._began_s >= LIVED_S:
            self._wait_s = FIRST_S
        why = child.last_words() or f"exit status {status}"
        child.end()
        self._child = None
        self._over(why)

    def _over(self, why: str) -> None:
        if why != self._why:  # a port that somebody has is one line, however often it is tried
            self._log.warning("no page", why=why, again_in_s=self._wait_s)
        self._why = why
        self._not_before_s = self._steady_s() + self._wait_s
        self._wait_s = min(MOST_S, 2 * self._wait_s)


class HarnessPage:
    """``harness page`` as a process of the daemon.

    Args:
        state: The folder of the rig's own state.
        options: What the command is given.

    Raises:
        OSError: the operating system refused.
    """

    def __init__(self, state: Path, options: Sequence[str]) -> None:
        self._path = state / FILE
        self._path.write_bytes(b"")  # what the page before it said is of no use any more
        with self._path.open("ab") as log:  # appended, so that it can be emptied meanwhile
            self._child = subprocess.Popen(
                [sys.executable, "-m", "harness", "page", "--json", *options],
                env={**os.environ, DAEMON: str(os.getpid())},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=log,
                start_new_session=True,  # Ctrl-C in the daemon's terminal is the daemon's alone
            )
        self.pid = self._child.pid
        self._said = b""
        assert self._child.stdout is not None
        self._out: IO[bytes] | None = self._child.stdout
        os.set_blocking(self._out.fileno(), False)
        self._ended: int | None = None
        try:  # it is ours and not waited for yet, so it is there, whatever has become of it
            self._ended = os.pidfd_open(self.pid)
        except OSError:
            self.end()  # nobody would know of it
            raise

    def descriptors(self) -> tuple[int, ...]:
        """Return what becomes readable when it says something or ends."""
        said = () if self._out is None else (self._out.fileno(),)
        return (*said, *(() if self._ended is None else (self._ended,)))

    def address(self) -> str:
        """Return where it is reached; empty: it has not said so yet."""
        self._hear()
        found = self._object().get("address", "")
        return found if isinstance(found, str) else ""

    def poll(self) -> int | None:
        """Return its exit status, or None."""
        with contextlib.suppress(OSError):
            if self._path.stat().st_size > MOST_BYTES:
                os.truncate(self._path, 0)
        return self._child.poll()

    def last_words(self) -> str:
        """Return why it ended, as far as it said so."""
        self._hear()
        error = self._object().get("error")
        if isinstance(error, dict):
            return f"{error.get('message')}: {error.get('do')}"
        with contextlib.suppress(OSError):
            lines = self._path.read_bytes()[-_WORDS_BYTES:].decode("utf-8", "replace").split("\n")
            return next((line.strip() for line in reversed(lines) if line.strip()), "")
        return ""

    def end(self) -> None:
        """End it, in order if it will."""
        self._child.terminate()
        try:
            self._child.wait(timeout=STOP_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        self._close()
        if self._ended is not None:
            os.close(self._ended)
            self._ended = None

    def _hear(self) -> None:
        while self._out is not None:
            part = self._out.read(4096)
            if part is None:
                return
            if not part:
                self._close()
            self._said += part

    def _object(self) -> dict[str, Any]:
        try:
            found = json.loads(self._said)
        except ValueError:
            return {}
        return found if isinstance(found, dict) else {}

    def _close(self) -> None:
        if self._out is not None:
            self._out.close()
            self._out = None
