"""Figure 27, with a checkpoint: a run of a million records taken up, against one of a thousand.

Touches disk. Both runs are the same but for what came before the checkpoint: those records are
filled in by SQL, since whoever goes on from a checkpoint reads none of them.
"""

from __future__ import annotations

import random
import sqlite3
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from bench.nights import night_plan
from bench.pairs import Line, ratio
from harness.plan import document as d
from harness.plan.canonical import freeze
from harness.rig.model import Model
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.thermal import Thermal
from harness.rules.rehearsed_meter import rehearsed_meter as meter
from harness.run import records as r
from harness.run.apply import fold
from harness.run.loop import Loop
from harness.run.state import begin
from harness.store.checkpoints import EVERY, folded, keep
from harness.store.memory import MemoryJournal
from harness.store.sqlite import open_store
from harness.store.sqlite_file import FILE

AT = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
RUN, CELLS = "bench", 200
FEW, MANY = 1_000, 1_000_000

_FILL = """
    WITH RECURSIVE n (seq) AS (SELECT 3 UNION ALL SELECT seq + 1 FROM n WHERE seq < ?)
    INSERT INTO entries
    SELECT ?, seq, '2026-11-02T22:30:00.000000Z', 'boot', 'clock-jumped', 1, NULL, NULL,
           '{"by_s":0.0,"during":""}', printf('%064d', seq - 1), printf('%064d', seq) FROM n
"""


def night(plan: d.Plan) -> list[r.Record]:
    """Return the records of a rehearsed night of *plan*, from its second on."""
    clock, journal = RehearsedClock(), MemoryJournal()
    part = Thermal(room_c=24.0, hot_c=80.0, tau_s=90.0)
    bench = RehearsedBench(clock, Model(chance=random.Random(11), parts={"gpu.temperature": part}))
    loop = Loop(
        state=begin(plan), bench=bench, journal=journal, clock=clock, meter=meter(bench),
        boot="boot",
    )  # fmt: skip
    loop.keep([r.RunStarted(run=RUN, plan="", plan_hash="", plan_file="", rig="r", harness="0")])
    loop.carry_on()
    return [entry.record for entry in journal.entries()][1:]


def filled(folder: Path, plan: d.Plan, records: list[r.Record], *, before: int) -> None:
    """Make a store of one run: *before* records, a checkpoint, and ``EVERY`` records after it."""
    first = r.RunStarted(
        run=RUN, plan=freeze(plan), plan_hash="", plan_file="", rig="rig", harness="0"
    )
    with open_store(folder, write=True) as store:
        store.create_run(
            RUN, plan_name="b", plan_hash="9f", rig="rig", cells=CELLS, at=AT,
            first=[first, r.RunnerStarted()],
        )  # fmt: skip
    db = sqlite3.connect(folder / FILE)
    (follows,) = db.execute(
        "SELECT sql FROM sqlite_master WHERE name = 'entries_follow'"
    ).fetchone()
    db.execute("DROP TRIGGER entries_follow")  # it looks every row up: slow for a million
    db.execute(_FILL, (before, RUN))
    db.execute("UPDATE run_standing SET seq = ?", (before,))
    db.execute(follows)
    db.commit()
    db.close()
    with open_store(folder, write=True, check=False) as store:
        keep(store, fold(begin(plan), [first, r.RunnerStarted()]))
        store.journal(RUN).append(records[1 : EVERY + 1], at=AT, boot="boot")


def taken_up() -> Iterator[Line]:
    """Figure 27: the state of a run of a million records, to go on from."""
    plan = night_plan(CELLS)
    records = night(plan)
    with tempfile.TemporaryDirectory() as name:
        few, many = Path(name) / "few", Path(name) / "many"
        filled(few, plan, records, before=FEW)
        filled(many, plan, records, before=MANY)

        def go_on(folder: Path, *, check: bool = False) -> None:
            with open_store(folder, write=True, check=check) as store:
                folded(store, RUN)

        yield ratio(
            "a million records taken up / a thousand, checkpoint",
            lambda: go_on(many),
            lambda: go_on(few),
            limit=1.2,
            note=f"{EVERY} records after it; the file opened, but not looked through",
        )
        yield ratio(
            "SQLite's own look through the file added / without",
            lambda: go_on(many, check=True),
            lambda: go_on(many),
            note="before a runner writes; it grows with the file",
        )


FIGURES = {27: taken_up}
