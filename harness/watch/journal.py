"""The file of the watch's events, in the folder of the rig's own state.

Touches disk. Append-only: one line of JSON an event, synced before it counts; whoever appends
holds the file's lock meanwhile, so that the queue's commands and the daemon may both do it. A
line that a power cut tore is skipped by everybody and ended by the next to append.

It lies with the rig and not in a store: a queue names plans of several stores, a hold binds
them all, and whether a night was started is a fact of the rig, not of one plan's run.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from harness.errors import Problem, RigError
from harness.watch.events import Event, from_line, to_line
from harness.watch.standing import Standing, apply

try:
    import fcntl
except ImportError:  # pragma: no cover - another system
    fcntl = None  # type: ignore[assignment]

FILE = "watch.jsonl"


class WatchJournal:
    """Reads and appends the events of one rig. ``standing`` is their fold, as last read.

    Args:
        folder: The folder of the rig's own state; made where it is missing.

    Raises:
        RigError: it cannot be used.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / FILE
        self.standing = Standing()
        self.unread = 0  #: lines that this version cannot read
        self._offset = 0
        with _told(self.path):
            folder.mkdir(parents=True, exist_ok=True)
            flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC
            self._fd = os.open(self.path, flags, 0o644)
        self.refresh()

    def refresh(self) -> bool:
        """Take in what was appended since, by whomever; return whether there was anything.

        Where nothing was it costs one question for the file's size.
        """
        size = os.fstat(self._fd).st_size
        if size <= self._offset:
            return False
        text = os.pread(self._fd, size - self._offset, self._offset)
        whole = text[: text.rfind(b"\n") + 1]
        for line in whole.splitlines():
            event = from_line(line.decode("utf-8", "replace"))
            if event is not None:
                apply(self.standing, event)
            elif line.strip():
                self.unread += 1
        self._offset += len(whole)
        return bool(whole)

    @contextlib.contextmanager
    def writing(self) -> Iterator[Standing]:
        """Hold the lock: nobody else appends, and the standing that is given is the latest."""
        with _told(self.path):
            if fcntl is not None:
                fcntl.flock(self._fd, fcntl.LOCK_EX)
        try:
            self.refresh()
            yield self.standing
        finally:
            if fcntl is not None:
                fcntl.flock(self._fd, fcntl.LOCK_UN)

    def append(self, *events: Event) -> None:
        """Keep *events*, durably, then take them in. To be called within :meth:`writing`.

        Raises:
            RigError: they could not be kept; nothing that they say may be done.
        """
        with _told(self.path):
            end = os.fstat(self._fd).st_size
            torn = end > 0 and os.pread(self._fd, 1, end - 1) != b"\n"
            lines = "".join(to_line(event) + "\n" for event in events)
            left = (b"\n" if torn else b"") + lines.encode()
            while left:
                left = left[os.write(self._fd, left) :]
            os.fsync(self._fd)
        self.refresh()

    def keep(self, *events: Event) -> None:
        """Append *events* under the lock."""
        with self.writing():
            self.append(*events)

    def close(self) -> None:
        """Give the file back."""
        os.close(self._fd)

    def __enter__(self) -> WatchJournal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise RigError(
            Problem(
                code="rig-folder",
                what=f"the rig's queue cannot be kept: {error.strerror}",
                where=(str(path),),
                do="make room, or let whoever runs the plans write there",
            )
        ) from error
