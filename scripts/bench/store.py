"""Figures 2, 9, 10 and 27: what the store costs to ask, to write, to fill and to read back.

Touches disk, processes and the clock. The store for figure 2 is filled by SQL, without the
bodies and hashes that asking where runs stand never reads.
"""

from __future__ import annotations

import dataclasses
import functools
import importlib.util
import json
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from bench.pairs import Line, ratio, spread
from harness.rig.readings import measured
from harness.rig.tasks import CommandEnd, EndedBy, Member
from harness.rules.judgement import Figure, ReadingSummary, Verdict
from harness.run import records as r
from harness.store.queries import queries
from harness.store.sqlite import Store, open_store
from harness.store.sqlite_file import FILE
from harness.store.sqlite_journal import SqliteJournal

ROOT = Path(__file__).resolve().parent.parent.parent
AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
CELL = "5d41402abc4b"

RUNS, PASSES_A_RUN = 200, 5_000  # a million passes
RECORDS = 30_000  # of the run that is read back: enough for a steady rate

_NAMES = ("gpu.temperature", "gpu.clock", "gpu.power", "gpu.load", "cpu.temperature", "cpu.load")
_SUMMARIES = tuple(
    ReadingSummary(
        name=name, unit="°C", samples=300, measured=300, mean=61.37 + i / 7, least=55.0, most=66.5
    )
    for i, name in enumerate(_NAMES)
)
_FIGURES = tuple(
    Figure(name=f"frame_ms_p{i}", value=6.9 + i / 3, unit="ms", definition="type-7/1")
    for i in range(10)
)


def _pass(attempt: int, bundle: r.BundleRef | None = None) -> tuple[r.Record, ...]:
    """Return the records of one pass, with what a pass of an ordinary plan brings."""
    return (
        r.PassStarted(
            cell=CELL,
            attempt=attempt,
            warm_up=False,
            group=1,
            block=0,
            round=1,
            waited_s=12.5,
            readings=(measured("gpu.temperature", 58.5), measured("cpu.load", 3.5)),
        ),
        r.PassEnded(
            cell=CELL,
            attempt=attempt,
            end=CommandEnd(argv=("lantern-quay",), by=EndedBy.EXIT, wall_s=300.2, status=0),
            bundle=bundle,
            figures=_FIGURES,
            frames=18_000,
            readings=_SUMMARIES,
        ),
        r.PassJudged(cell=CELL, attempt=attempt, verdict=Verdict.KEPT, reason="nothing against it"),
    )


def _journal(store: Store, run: str = "bench", *, cells: int = 1) -> SqliteJournal:
    return store.create_run(run, plan_name="b", plan_hash="9f", rig="rig", cells=cells, at=AT)


# ---------------------------------------------------------------- figure 2

_ASK = """
import sys
from pathlib import Path
from harness.store.sqlite import open_store
with open_store(Path(sys.argv[1]), write=False) as store:
    for line in store.runs(limit=20):
        print(line.run, line.standing.phase, line.standing.passes)
"""


def _fill(folder: Path) -> None:
    """Make a store of a million passes, the last run unfinished."""
    with open_store(folder, write=True) as store:
        for number in range(RUNS):
            _journal(store, f"night-{number:03d}", cells=1_000)
    db = sqlite3.connect(folder / FILE)
    db.execute("DROP TRIGGER entries_follow")  # it looks every row up: slow for a million
    db.execute(
        """
        WITH RECURSIVE n (seq) AS (SELECT 1 UNION ALL SELECT seq + 1 FROM n WHERE seq < ?)
        INSERT INTO entries
        SELECT run, seq, ?, 'boot', 'pass-judged', 1, printf('%012x', seq % 1000), seq / 1000, '{}',
               '', printf('%064d', seq)
        FROM runs, n
        """,
        (PASSES_A_RUN, "2026-11-02T22:30:00.000000Z"),
    )
    db.execute(
        """
        INSERT INTO run_standing
        SELECT run, ?, created_at, 'finished', created_at, 1, NULL, NULL, NULL, NULL, 1000, 0, 0, ?
        FROM runs
        """,
        (PASSES_A_RUN, PASSES_A_RUN),
    )
    db.execute(
        """
        WITH RECURSIVE n (cell) AS (SELECT 0 UNION ALL SELECT cell + 1 FROM n WHERE cell < 999)
        INSERT INTO cell_standing
        SELECT run, printf('%012x', cell), 'accepted', 1, 5, 5, 0, 0, 0, 0, 0 FROM runs, n
        """
    )
    db.execute("UPDATE run_standing SET phase = 'idle' WHERE run = 'night-199'")
    db.commit()
    db.close()


def status() -> Iterator[Line]:
    """Figure 2: ``status`` on a store of a million passes, as a whole process."""
    with tempfile.TemporaryDirectory() as name:
        _fill(Path(name))
        if importlib.util.find_spec("harness.commands.status") is not None:
            yield ratio(
                "harness status, a million passes / bare interpreter",
                lambda: _process("-m", "harness", "status", "--store", name),
                lambda: _process("-c", "pass"),
                21,
                limit=4.0,
            )
        yield ratio(
            "of it, the store's part alone / bare interpreter",
            lambda: _process("-c", _ASK, name),
            lambda: _process("-c", "pass"),
            21,
        )


def _process(*arguments: str) -> None:
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run(
        [sys.executable, *arguments],
        check=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        env=kept | {"PYTHONPATH": str(ROOT)},
    )


# ---------------------------------------------------------------- figure 9


def keeping() -> Iterator[Line]:
    """Figure 9: keeping a pass with 300 readings against its four fsyncs done by hand."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        readings = folder / "readings.jsonl"
        sample = dict.fromkeys(_NAMES, 61.5)
        readings.write_text("".join(f"{json.dumps({'at_s': i, **sample})}\n" for i in range(300)))
        log = folder / "frames.csv"
        log.write_text(frame_log(), encoding="ascii")
        few = (Member(name="readings.jsonl", path=readings),)
        many = (*few, Member(name="captures/frames.csv", path=log))
        with open_store(folder / "store", write=True) as store:
            journal = _journal(store)
            number = iter(range(1, 1_000_000))

            def keep(members: tuple[Member, ...]) -> None:
                attempt = next(number)
                started, ended, judged = _pass(attempt)
                journal.append((started,), at=AT, boot="boot")
                ref = journal.keep(f"{CELL}-{attempt}", members)
                assert isinstance(ended, r.PassEnded)
                ended = dataclasses.replace(ended, bundle=ref)
                journal.append((ended, judged), at=AT, boot="boot")

            for members, limit, what in (
                (few, 2.0, "300 readings"),
                (many, None, "and 18 000 frames"),
            ):
                size = (folder / "store" / journal.keep(f"{CELL}-0", members).path).stat().st_size
                yield ratio(
                    f"keeping a pass, {what} / its four fsyncs",
                    functools.partial(keep, members),
                    functools.partial(_four_fsyncs, folder, size),
                    41,
                    limit=limit,
                )


def _four_fsyncs(folder: Path, size: int) -> None:
    """Append, make a file durable under its name, append: what any durable order costs."""
    _append(folder / "log", 12_000)
    with (folder / "part").open("wb") as file:
        file.write(b"x" * size)
        file.flush()
        os.fsync(file.fileno())
    (folder / "part").replace(folder / "whole")
    descriptor = os.open(folder, os.O_RDONLY)
    os.fsync(descriptor)
    os.close(descriptor)
    _append(folder / "log", 16_000)


def _append(path: Path, size: int) -> None:
    with path.open("ab") as file:
        file.write(b"x" * size)
        file.flush()
        os.fdatasync(file.fileno())


# ---------------------------------------------------------------- figure 10


def frame_log(frames: int = 18_000) -> str:
    """Return a frame log of two columns and a clock, 26 bytes a row, with correlated noise."""
    chance = random.Random(11)
    lines, clock_ms, drift = ["clock_ms,frame_ms,card_ms"], 0.0, 0.0
    for _ in range(frames):
        drift = 0.9 * drift + chance.gauss(0, 0.12)
        frame = max(2.0, 6.94 + drift + chance.expovariate(4.0) * (chance.random() < 0.02) * 12)
        clock_ms += frame
        lines.append(f"{clock_ms:.4f},{frame:.4f},{frame * 0.93 + chance.gauss(0, 0.03):.4f}")
    return "\n".join(lines) + "\n"


def capture_kept() -> Line:
    """Figure 10: what a kept capture takes of its text, bundle and all."""
    with tempfile.TemporaryDirectory() as name:
        folder, shares = Path(name), []
        with open_store(folder / "store", write=True) as store:
            journal = _journal(store)
            log = folder / "frames.csv"
            log.write_text(frame_log(), encoding="ascii")
            for attempt in range(7):
                ref = journal.keep(f"{CELL}-{attempt}", (Member(name="captures/f.csv", path=log),))
                size = (folder / "store" / ref.path).stat().st_size
                shares.append(size / log.stat().st_size)
        rows = f"{log.stat().st_size / 18_000:.0f} bytes a frame as text"
        return spread("capture kept / its text", shares, limit=0.45, note=rows)


# ---------------------------------------------------------------- figure 27


def reading_back() -> Iterator[Line]:
    """Figure 27: every record of a run read back, without a checkpoint, against its raw rows."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_store(folder, write=True) as store:
            journal = _journal(store)
            records = [record for n in range(RECORDS // 3) for record in _pass(n + 1)]
            journal.append(records, at=AT, boot="boot")
        db = sqlite3.connect(folder / FILE)
        ask = queries("sqlite")["entries"].replace("?", "'bench'", 1).replace("?", "0", 1)

        def raw() -> None:
            db.execute(ask).fetchall()

        def parsed() -> None:
            for *_, body in db.execute(ask):
                json.loads(body)

        with open_store(folder, write=False) as store:

            def read() -> None:
                store.entries("bench")

            yield ratio(
                "records read back, no checkpoint / raw rows",
                read,
                raw,
                limit=8.0,
                note="JSON alone takes what the next line shows",
            )
        yield ratio("the rows' JSON parsed and dropped / raw rows", parsed, raw)
        db.close()


FIGURES = {2: status, 9: keeping, 10: capture_kept, 27: reading_back}
