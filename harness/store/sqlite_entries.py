"""Entries read back from a SQLite store; requests put into it, and read back.

Touches disk.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Sequence
from datetime import datetime

from harness.run.ports import Entry
from harness.run.records import Request, RequestKind
from harness.store.rows import at_text, from_row
from harness.store.sqlite_file import SqliteFile
from harness.store.sqlite_refusals import translated


def read(file: SqliteFile, query: str, parameters: Sequence[object]) -> list[Entry]:
    """Return the entries that answer *query*, in order.

    Raises:
        StoreError: One of them does not read back.
    """
    # Records hold no cycles: the collector would only search, again and again, what has
    # just been read, which costs more than reading it.
    was_on = gc.isenabled()
    gc.disable()
    try:
        with translated(file.path):
            return [
                from_row(seq=seq, at=at, boot=boot, kind=kind, version=version, body=body)
                for seq, at, boot, kind, version, body in file.ask(query, parameters)
            ]
    finally:
        if was_on:
            gc.enable()


def read_story(file: SqliteFile, run: str, cell: str, attempt: int | None) -> tuple[Entry, ...]:
    """Return the entries about a cell, or a pass with what took its place, in order."""
    return tuple(
        entry
        for entry in read(file, "story", (run, cell))
        if attempt is None
        or getattr(entry.record, "attempt", None) == attempt
        or attempt in getattr(entry.record, "superseded", ())
    )


def put_request(
    file: SqliteFile,
    run: str,
    kind: RequestKind,
    *,
    by: str,
    at: datetime,
    note: str,
    step: int | None,
    cells: Sequence[str],
    attending: bool,
) -> int:
    """Keep a request to the runner of *run*, durably; return its number."""
    values = {
        "run": run,
        "at": at_text(at),
        "kind": kind.value,
        "by": by,
        "note": note,
        "step": step,
        "cells": json.dumps(cells),
        "attending": attending,
    }
    with file.writing():
        (number,) = file.ask("put_request", values).fetchone()
    return int(number)


def read_requests(file: SqliteFile, run: str, after: int) -> tuple[Request, ...]:
    """Return the requests put to *run* after the one numbered *after*, in order."""
    return tuple(
        Request(
            number=number,
            kind=RequestKind(kind),
            by=by,
            note=note,
            step=step,
            cells=tuple(json.loads(cells)),
            attending=bool(attending),
        )
        for number, kind, by, note, step, cells, attending in file.rows("requests", (run, after))
    )
