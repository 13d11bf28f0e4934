"""The daemon's log: JSON lines in the rig's state folder, and a person's lines on a terminal.

Touches disk. Bounded: a file of a megabyte, and four before it. Nothing is synced: what must
not be lost is an event of the watch's journal, or a record. A file that cannot be set aside
(on Windows another program may hold it open) is written on, and that is said once.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import TextIO

import structlog

from harness.watch.ports import Log

FILE = "daemon.log"
MOST_BYTES, KEPT = 1_000_000, 4
#: Records of which a terminal is not told: the passes, and what leads from one to the next.
_FOR_THE_FILE = frozenset(
    {
        *("pass-started", "pass-ended", "pass-judged", "pass-discarded", "pass-skipped"),
        *("group-opened", "block-opened", "block-closed", "round-started", "rig-settled"),
        *("level-ordered", "level-verified", "level-put-back", "cell-warmed-up"),
    }
)
#: Fields whose name a person need not read.
_SPEAK_FOR_THEMSELVES = frozenset({"when", "why", "plan", "kind"})


class _Rotated(RotatingFileHandler):
    """Goes on in the same file where it cannot be set aside, and says so once."""

    refused = False

    def doRollover(self) -> None:
        """Set the file aside, or go on in it."""
        try:
            super().doRollover()
        except OSError as error:
            self.stream = self.stream or self._open()
            if not self.refused:
                self.refused = True
                line = {"event": "the log cannot be set aside", "why": str(error)}
                self.stream.write(json.dumps(line) + "\n")

    def handleError(self, record: logging.LogRecord) -> None:
        """Lose the line: a full disk must not end the watch, and is told by who keeps records."""


class _Lines:
    """What structlog hands its finished lines to."""

    def __init__(self, handler: logging.Handler, out: TextIO | None) -> None:
        self._handler, self._out = handler, out

    def msg(self, line: str, told: str) -> None:
        """Write a line to the file, and what a person reads to the terminal."""
        self._handler.emit(logging.makeLogRecord({"msg": line}))
        if told and self._out is not None:
            try:
                print(told, file=self._out, flush=True)
            except OSError:
                self._out = None  # the terminal is gone, the night is not

    info = warning = msg


@contextmanager
def open_log(folder: Path, *, out: TextIO | None) -> Iterator[Log]:
    """Open the daemon's log in *folder*; *out* is for a person's lines, None for none.

    Every line has ``at``, ``level`` and ``event``, and beside them the run, the cell and the
    attempt, as far as they are known where it is written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    handler = _Rotated(
        folder / FILE, maxBytes=MOST_BYTES, backupCount=KEPT, encoding="utf-8", delay=True
    )
    handler.setFormatter(logging.Formatter("%(message)s"))
    logger: Log = structlog.wrap_logger(
        _Lines(handler, out),
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True, key="at"),
            _both,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        cache_logger_on_first_use=True,
    )
    try:
        yield logger
    finally:
        bind()
        handler.close()


def bind(**names: object) -> None:
    """Bind *names* to every line from now on, and nothing else; None is left out."""
    structlog.contextvars.clear_contextvars()
    structlog.contextvars.bind_contextvars(**{n: x for n, x in names.items() if x is not None})


def _both(
    logger: object, name: str, event: structlog.typing.EventDict
) -> tuple[tuple[str, str], dict[str, object]]:
    """Return the line for the file, and the one for a person; empty: a person need not read it."""
    at, level, what = event.pop("at"), event.pop("level"), event.pop("event")
    line = json.dumps(
        {"at": at, "level": level, "event": what, **event}, ensure_ascii=False, default=str
    )
    parts = [
        str(value) if key in _SPEAK_FOR_THEMSELVES else f"{key} {value}"
        for key, value in event.items()
        if value not in (None, "")
    ]
    mark = "! " if level == "warning" else ""
    if event.get("kind", "") in _FOR_THE_FILE:
        return (line, ""), {}
    told = f"{at[:19]}Z  {mark}{what}{': ' if parts else ''}{', '.join(parts)}"
    return (line, told), {}
