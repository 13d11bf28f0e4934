"""Figures 11, 12, 22 and 23: the page for the morning.

Touches disk, processes, the network of this machine and the clock.
"""

from __future__ import annotations

import gzip
import http.client
import json
import os
import platform
import re
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

from bench.pairs import LEAST_PAIRS, Line, ratio, spread
from harness.rig.clock import MachineClock
from harness.store.sqlite import open_store
from harness.store.sqlite_file import FILE
from harness.views.page.desk import Desk

ROOT = Path(__file__).resolve().parents[2]
RUNS, RECORDS_A_RUN = 200, 5000  # a million passes judged
_TURNS = 20

#: What the first view needs, asked of SQLite by hand: the latest runs and where each stands.
_RAW = """
SELECT r.run, r.number, r.plan_name, r.plan_hash, r.rig, r.cells, r.created_at,
       (SELECT max(seq) FROM entries WHERE run = r.run), s.*
FROM runs AS r LEFT JOIN run_standing AS s ON s.run = r.run ORDER BY r.number DESC LIMIT 20
"""


def filled(folder: Path) -> str:
    """Make a store of a million passes, the first run unfinished; return that run's name."""
    sys.path.insert(0, str(ROOT))
    from tests.views.page import nights

    nights.made(folder)  # one run with plan, captures and readings, unfinished
    with open_store(folder / "store", write=True) as store:
        started = next(iter(store.entries(nights.RUN))).record
        for number in range(RUNS):
            store.create_run(
                f"night-{number:03d}", plan_name="b", plan_hash="9f", rig=platform.node(),
                cells=1000, at=nights.AT, first=(started,), boot="b",
            )  # fmt: skip
    db = sqlite3.connect(folder / "store" / FILE)
    db.execute("DROP TRIGGER entries_follow")  # it looks every row up: slow for a million
    db.execute(
        """
        WITH RECURSIVE n (seq) AS (SELECT 2 UNION ALL SELECT seq + 1 FROM n WHERE seq < ?)
        INSERT INTO entries
        SELECT run, seq, ?, 'boot', 'pass-judged', 1, printf('%012x', seq % 1000), seq / 1000, '{}',
               '', printf('%064d', seq)
        FROM runs, n WHERE run LIKE 'night-%'
        """,
        (RECORDS_A_RUN, "2026-11-02T22:30:00.000000Z"),
    )
    db.execute("DELETE FROM run_standing WHERE run LIKE 'night-%'")
    db.execute(
        """
        INSERT INTO run_standing (run, seq, at, phase, since, "group", accepted, short, failed,
                                  passes)
        SELECT run, ?, created_at, 'finished', created_at, 1, 1000, 0, 0, ? FROM runs
        WHERE run LIKE 'night-%'
        """,
        (RECORDS_A_RUN, RECORDS_A_RUN),
    )
    db.commit()
    db.close()
    return nights.RUN


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, int]]:
    """Run the page over the store in *folder*; give its address and its process."""
    environment = {
        **os.environ,
        "HARNESS_STORE": str(folder / "store"),
        "HARNESS_RIG": str(folder / "rig"),
        "PYTHONPATH": str(ROOT),
    }
    with subprocess.Popen(
        [sys.executable, "-m", "harness", "page", "--port", "0", "--json"],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stdout is not None
            said = json.loads(process.stdout.readline())
            yield urlsplit(said["address"]).netloc, said["pid"]
        finally:
            process.terminate()


def get(line: http.client.HTTPConnection, path: str, *, packed: bool = False) -> bytes:
    """Return what one address gives."""
    line.request("GET", path, headers={"Accept-Encoding": "gzip"} if packed else {})
    answer = line.getresponse()
    body = answer.read()
    if answer.status != 200:
        raise RuntimeError(f"{path}: {answer.status}: {body[:200]!r}")
    return body


def figure_11() -> Iterator[Line]:
    """Data of the first view, a million passes, against raw SQL; and the view on the server."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        filled(folder)
        path = folder / "store" / FILE
        desk = Desk(
            store=folder / "store", rig=folder / "rig", node=platform.node(),
            now=MachineClock().now, ask=lambda command, arguments: {},
        )  # fmt: skip

        def ours() -> None:
            for _ in range(_TURNS):
                desk.lines()

        def bare() -> None:
            for _ in range(_TURNS):
                db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
                db.execute(_RAW).fetchall()
                db.close()

        yield ratio("data of the first view / raw SQL, file opened", ours, bare, limit=1.5)
        with served(folder) as (netloc, _):
            line = http.client.HTTPConnection(netloc)
            for path_ in ("/", "/api/look"):
                times: list[float] = []
                for turn in range(LEAST_PAIRS + 2):
                    began = time.perf_counter()
                    get(line, path_)
                    if turn > 1:
                        times.append(1000 * (time.perf_counter() - began))
                limit = 15.0 if path_ == "/" else None
                yield spread(f"{path_} on the server", times, limit=limit, unit="ms")
            line.close()


def figure_12() -> Iterator[Line]:
    """Weight of the heaviest view; and a trace of 100 000 frames, drawn in a browser."""
    sys.path.insert(0, str(ROOT))
    from tests.views.page import nights

    with TemporaryDirectory() as name:
        folder = Path(name)
        nights.made(folder)
        with open_store(folder / "store", write=True) as store:
            frames = [7.0 + (n * 37 % 101) / 50 for n in range(100_000)]
            nights.keep_pass(store.journal(nights.RUN), folder, 9, frames_ms=frames)
        view = f"/runs/{nights.RUN}/cells/{nights.QUAY}/9"
        with served(folder) as (netloc, _):
            line = http.client.HTTPConnection(netloc)
            text = get(line, view)
            parts = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', text.decode()))
            weight = len(gzip.compress(text)) + sum(len(get(line, x, packed=True)) for x in parts)
            line.close()
            yield Line(name="weight of a pass's view, packed, frames aside", value=weight / 1000,
                       low=weight / 1000, high=weight / 1000, limit=60, unit="kB")  # fmt: skip
            from tests.end_to_end.browsers import browser

            with browser() as chromium:
                tab = chromium.new_page(viewport={"width": 1280, "height": 900})
                drawn = []
                for turn in range(LEAST_PAIRS + 1):
                    tab.goto(f"http://{netloc}{view}")
                    tab.wait_for_selector("#trace[data-ready=yes]")
                    took = float(tab.get_attribute("#trace", "data-drawn-ms"))
                    if turn:
                        drawn.append(took)
                yield spread("100 000 frames: create and draw", drawn, limit=30, unit="ms")


def figure_22() -> Line:
    """Wake-ups of the page with nobody asking."""
    sys.path.insert(0, str(ROOT))
    from tests.views.page import nights

    with TemporaryDirectory() as name:
        folder = Path(name)
        nights.made(folder)
        with served(folder) as (netloc, pid):
            line = http.client.HTTPConnection(netloc)
            get(line, "/")
            line.close()
            MachineClock().pause(12.0)  # the threads that answered go after ten seconds
            rates = []
            for _ in range(LEAST_PAIRS):
                before = _switches(pid)
                MachineClock().pause(2.0)
                rates.append((_switches(pid) - before) / 2)
    return spread("wake-ups of the idle page", rates, limit=0.5, unit="/s")


def _switches(pid: int) -> int:
    total = 0
    for task in Path(f"/proc/{pid}/task").iterdir():
        text = (task / "status").read_text(encoding="ascii")
        total += int(text.partition("voluntary_ctxt_switches:")[2].split()[0])
    return total


def figure_23() -> Line:
    """Resident memory of the page after every view was seen."""
    sys.path.insert(0, str(ROOT))
    from tests.views.page import nights

    with TemporaryDirectory() as name:
        folder = Path(name)
        nights.made(folder)
        views = (
            "/", f"/runs/{nights.RUN}", f"/runs/{nights.RUN}/cells/{nights.QUAY}/1",
            "/compare?base=slot%3Dalone&against=slot%3Dshared", "/ceilings",
            "/drift?where=setting%3Dfhd", "/rigs",
            f"/api/runs/{nights.RUN}/cells/{nights.QUAY}/1/frames",
        )  # fmt: skip
        with served(folder) as (netloc, pid):
            line = http.client.HTTPConnection(netloc)
            sizes = []
            for _ in range(LEAST_PAIRS):
                for view in views:
                    get(line, view)
                text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
                sizes.append(int(text.partition("VmRSS:")[2].split()[0]) / 1024)
            line.close()
    return spread("memory of the page, every view seen", sizes, limit=60, unit="MB")


FIGURES = {11: figure_11, 12: figure_12, 22: figure_22, 23: figure_23}
