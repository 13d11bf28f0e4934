"""Where a simulated night is kept: in memory, or in a SQLite store whose disk fails.

Touches disk. A home outlives the runners: ``journal`` is what the next one is handed, and
``crash`` leaves the disk as a crash may leave it, at its worst.
"""

from __future__ import annotations

import os
import random
import shutil
from collections.abc import Sequence
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol

from harness.errors import Problem, StoreError
from harness.rig.tasks import Member
from harness.run import records as r
from harness.run.apply import fold
from harness.run.loop import Onlooker
from harness.run.ports import Entry, Journal
from harness.run.state import RunState
from harness.store.checkpoints import Checkpointing, latest
from harness.store.faulty_files import FaultyFiles
from harness.store.memory import MemoryJournal
from harness.store.sqlite import Store, open_store
from harness.store.sqlite_file import FILE
from harness.store.verify import problems

#: What is torn off or scribbled behind the last commit, bytes at the most.
_TORN_BYTES = 9000


class Home(Protocol):
    """Where one night is kept."""

    def journal(self) -> Journal:
        """Return the journal for a runner that comes up."""

    def entries(self, after: int) -> Sequence[Entry]:
        """Return what is kept after entry number *after*."""

    def put(self, request: r.Request) -> None:
        """Put a request to the run."""

    def watched(self, onlooker: Onlooker) -> Onlooker:
        """Return what looks on for a runner that comes up, beside *onlooker*."""

    def stands(self, state: RunState) -> int:
        """Hold *state* against what the next runner will find; return how many checks."""

    def full(self, pages: int) -> None:
        """Let the disk be full soon, or no more (-1)."""

    def crash(self) -> None:
        """Leave everything as a crash may leave it."""

    def check(self) -> int:
        """Hold the store itself against what it promises; return how many checks."""

    def close(self) -> None:
        """Give everything back."""


class MemoryHome:
    """A journal in memory: nothing of it can be torn."""

    def __init__(self, started: r.RunStarted, at: datetime) -> None:
        self.kept = MemoryJournal()
        self.kept.append([started], at=at, boot="boot-1")

    def journal(self) -> Journal:
        """Return the one journal."""
        return self.kept

    def entries(self, after: int) -> Sequence[Entry]:
        """Return what is kept after entry number *after*."""
        return self.kept.entries()[after:]

    def put(self, request: r.Request) -> None:
        """Put a request to the run."""
        self.kept.put(request)

    def watched(self, onlooker: Onlooker) -> Onlooker:
        """Return *onlooker*: memory needs no checkpoint."""
        return onlooker

    def stands(self, state: RunState) -> int:
        """Check nothing: the fold is held against the state at the end of the night."""
        return 0

    def full(self, pages: int) -> None:
        """Do nothing: memory has no disk (``Filling`` refuses instead)."""

    def crash(self) -> None:
        """Do nothing: an append is whole or not there."""

    def check(self) -> int:
        """Check nothing: there is no file."""
        return 0

    def close(self) -> None:
        """Do nothing."""


class SqliteHome:
    """A SQLite store and its bundles on a disk that fills up, tears writes and loses power."""

    def __init__(
        self, started: r.RunStarted, at: datetime, *, folder: Path, rng: random.Random
    ) -> None:
        self._top, self._rng, self._run, self._at = folder, rng, started.run, at
        self._images = 0
        self._open = ExitStack()
        self.torn = self.resumed = 0
        self._files = FaultyFiles()
        self._store = self._opened()
        self._store.create_run(
            started.run, plan_name="simulated", plan_hash="0", rig="rehearsed", cells=1, at=at,
            first=[started], boot="boot-1",
        )  # fmt: skip

    @property
    def _folder(self) -> Path:
        return self._top / f"image-{self._images}"

    def _opened(self) -> Store:
        new = not (self._folder / FILE).exists()
        return self._open.enter_context(
            open_store(self._folder, write=True, check=new, files=self._files)
        )

    def journal(self) -> Journal:
        """Return the journal, opened anew; a disk that was to fail may fail again later."""
        calls = self._rng.randint(20, 400)
        error = self._rng.choice([28, None])  # ENOSPC, or the power is cut
        self._open.close()
        self._files = FaultyFiles(fail_at=calls if self.failing else None, error=error)
        self._store = self._opened()
        return self._store.journal(self._run)

    failing = True

    def entries(self, after: int) -> Sequence[Entry]:
        """Return what is kept after entry number *after*."""
        return self._store.entries(self._run, after=after)

    def put(self, request: r.Request) -> None:
        """Put a request to the run."""
        self._store.put_request(
            self._run, request.kind, by=request.by, at=self._at, note=request.note,
            step=request.step, cells=request.cells, attending=request.attending,
        )  # fmt: skip

    def watched(self, onlooker: Onlooker) -> Onlooker:
        """Return *onlooker*, and what writes a checkpoint of the fold every few records."""
        every = self._rng.randint(1, 60)
        return Checkpointing(onlooker, self._store, self._run, files=self._files, every=every)

    def stands(self, state: RunState) -> int:
        """Hold *state* against that of a runner which goes on from the last checkpoint."""
        seq, found = latest(self._store, self._run, state.grid)
        if seq == 0:
            return 0  # there is none: the next runner folds from the first record
        fold(found, (entry.record for entry in self.entries(seq)))
        assert found == state, f"the checkpoint at record {seq} is not the fold"
        self.resumed += 1
        return 1

    def full(self, pages: int) -> None:
        """Let the file grow by so many pages only, or without a bound (-1)."""
        self.failing = pages >= 0
        database = self._store._file._db
        count = database.execute("PRAGMA page_count").fetchone()[0] + pages
        bound = count if pages >= 0 else 1 << 30
        database.execute(f"PRAGMA max_page_count = {bound}")

    def crash(self) -> None:
        """Go on with a copy of the files as they lie there, torn behind the last commit."""
        self._files.cut_power()
        before = self._folder
        self._images += 1
        shutil.copytree(
            before, self._folder, ignore=shutil.ignore_patterns("*-shm"), copy_function=_taken_over
        )
        self._open.close()
        shutil.rmtree(before)
        log = self._folder / "records.sqlite-wal"
        if log.exists() and self._rng.random() < 0.7:
            kept = log.read_bytes()
            start = self._rng.randrange(max(1, len(kept)))
            scribble = self._rng.choice([kept[start:], self._rng.randbytes(_TORN_BYTES)])
            with log.open("ab") as file:
                file.write(scribble[: self._rng.randint(1, _TORN_BYTES)])
            self.torn += 1
        self._files = FaultyFiles()
        self._store = self._opened()

    def check(self) -> int:
        """Verify the store, and read every bundle that a record names."""
        found = problems(self._store, self._run, bundles=False)  # they are read below
        errors = [each for each in found if each.severity == "error"]
        assert not errors, f"the store is not whole: {errors}"
        named = 0
        for entry in self.entries(0):
            bundle = getattr(entry.record, "bundle", None)
            if bundle is not None:
                self._store.check_bundle(bundle)
                named += 1
        return 1 + named

    def close(self) -> None:
        """Close the store and remove its folder."""
        self._open.close()
        shutil.rmtree(self._folder, ignore_errors=True)


def _taken_over(source: str, target: str) -> None:
    """Copy what the open database may yet change; nothing else is ever written to again."""
    if Path(source).name.startswith(FILE):
        shutil.copyfile(source, target)
    else:
        os.link(source, target)


class Filling:
    """A journal that refuses some of its writes, as a full disk does."""

    def __init__(self, inner: Journal, rng: random.Random, odds: float) -> None:
        self._inner, self._rng, self._odds = inner, rng, odds

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def append(self, records: Sequence[r.Record], *, at: datetime, boot: str) -> None:
        """Keep the records, or refuse them all."""
        self._perhaps_refuse()
        self._inner.append(records, at=at, boot=boot)

    def keep(self, name: str, members: Sequence[Member]) -> r.BundleRef:
        """Keep the files of an attempt, or refuse."""
        self._perhaps_refuse()
        return self._inner.keep(name, members)

    def _perhaps_refuse(self) -> None:
        if self._odds and self._rng.random() < self._odds:
            raise StoreError(Problem(code="store-full", what="the disk is full", do="free space"))
