from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from harness.errors import StoreError
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.run.ports import Journal
from harness.store.memory import MemoryJournal
from harness.store.sqlite import Store, open_store
from harness.store.verify import problems
from tests.contracts.journal_contract import Home, JournalContract
from tests.store.examples import AT, BOOT, CELL, OTHER, ended, frame_log, judged, started

RUN = "two-slots-1"


class SqliteHome:
    """A store in a folder; the runner's connection is left behind as a crash leaves it."""

    refuses_what_is_not_finite = True

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.runner = ExitStack()
        self.store = self.runner.enter_context(open_store(folder, write=True))
        self.store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f" * 32, rig="bench-3", cells=2, at=AT
        )

    def open(self) -> Journal:
        self.store = self.runner.enter_context(open_store(self.folder, write=True))
        return self.store.journal(RUN)

    def put(self, request: r.Request) -> int:
        with open_store(self.folder, write=True, check=False) as other:
            return other.put_request(
                RUN,
                request.kind,
                by=request.by,
                at=AT,
                note=request.note,
                step=request.step,
                cells=request.cells,
            )

    def bundles(self) -> int:
        return len(list((self.folder / "bundles" / RUN).glob("*.tar.zst")))

    def content(self, ref: r.BundleRef, name: str) -> bytes:
        with self.store.open_member(ref, name) as member:
            return member.read()


@pytest.fixture
def sqlite_home(tmp_path: Path) -> Iterator[SqliteHome]:
    home = SqliteHome(tmp_path / "store")
    with home.runner:
        yield home


class TestSqliteJournal(JournalContract):
    @pytest.fixture
    def home(self, sqlite_home: SqliteHome) -> Home:
        return sqlite_home


def test_a_second_runner_that_writes_the_same_run_is_refused(sqlite_home: SqliteHome) -> None:
    first, second = sqlite_home.open(), sqlite_home.open()
    first.append((started(1),), at=AT, boot=BOOT)
    with pytest.raises(StoreError, match="store-append-only"):
        second.append((judged(1),), at=AT, boot=BOOT)
    assert [entry.record for entry in first.entries()] == [started(1)]


def test_after_a_refused_append_the_journal_goes_on(sqlite_home: SqliteHome) -> None:
    journal = sqlite_home.open()
    with pytest.raises(StoreError, match="number-not-finite"):
        journal.append((r.RigSettled(seconds=math.inf),), at=AT, boot=BOOT)
    journal.append((started(1),), at=AT, boot=BOOT)
    assert [entry.seq for entry in journal.entries()] == [1]


def test_the_log_is_folded_into_the_file_only_when_the_runner_rests(
    sqlite_home: SqliteHome, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.store.sqlite_file.CHECKPOINT_COMMITS", 20)
    journal = sqlite_home.open()
    file = sqlite_home.folder / "records.sqlite"
    before = file.stat().st_size

    def keep(count: int) -> None:
        for _ in range(count):
            journal.append((r.RunPaused(reason="x" * 10_000),), at=AT, boot=BOOT)

    keep(19)
    journal.rest()
    assert file.stat().st_size == before, "too little was kept to be worth two fsyncs"
    keep(30)
    assert file.stat().st_size == before, "nobody rested"
    journal.rest()
    assert file.stat().st_size > before + 490_000


def test_after_a_rest_the_log_is_written_over_and_does_not_grow(
    sqlite_home: SqliteHome, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.store.sqlite_file.CHECKPOINT_COMMITS", 10)
    journal = sqlite_home.open()
    lengths = []
    for _ in range(4):
        for _ in range(10):
            journal.append((r.RunPaused(reason="x" * 10_000),), at=AT, boot=BOOT)
        journal.rest()
        lengths.append((sqlite_home.folder / "records.sqlite-wal").stat().st_size)
    assert max(lengths) < lengths[0] * 1.5


def test_a_reader_does_not_make_the_resting_runner_wait(
    sqlite_home: SqliteHome, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.store.sqlite_file.CHECKPOINT_COMMITS", 10)
    journal = sqlite_home.open()
    with open_store(sqlite_home.folder, write=False) as store, store.reading():
        before = store.run(RUN)
        for _ in range(20):
            journal.append((r.RunPaused(reason="x" * 10_000),), at=AT, boot=BOOT)
        journal.rest()
        assert store.run(RUN) == before
    assert len(journal.entries()) == 20


class SqliteLikeMemory(RuleBasedStateMachine):
    """Whatever is done, the SQLite journal shows what the journal in memory shows."""

    def __init__(self) -> None:
        super().__init__()
        self.stack = ExitStack()
        self.folder = Path(self.stack.enter_context(TemporaryDirectory()))
        self.log = frame_log(self.folder)
        self.memory = MemoryJournal()
        self.home = SqliteHome(self.folder / "store")
        self.stack.enter_context(self.home.runner)
        self.attempts = dict.fromkeys((CELL, OTHER), 0)
        self.kept = 0
        self.orphaned = False

    @initialize()
    def begin(self) -> None:
        self.journal = self.home.open()

    def both(self, *records: r.Record) -> None:
        for journal in (self.memory, self.journal):
            journal.append(records, at=AT, boot=BOOT)

    @rule(
        cell=st.sampled_from([CELL, OTHER]),
        verdict=st.sampled_from([v for v in Verdict if v is not Verdict.DISCARDED]),
        warm_up=st.booleans(),
        group=st.integers(1, 2),
    )
    def keep_a_pass(self, cell: str, verdict: Verdict, warm_up: bool, group: int) -> None:
        self.attempts[cell] += 1
        attempt = self.attempts[cell]
        self.both(started(attempt, cell, warm_up=warm_up, group=group))
        ref = self.journal.keep(f"{cell}-{attempt:03d}", (self.log,))
        self.kept += 1
        self.both(ended(attempt, cell, ref), judged(attempt, verdict, cell))

    @rule(cell=st.sampled_from([CELL, OTHER]), state=st.sampled_from(r.CellState))
    def close_a_cell(self, cell: str, state: r.CellState) -> None:
        self.both(r.CellClosed(cell=cell, state=state, group=1, kept=(1,), reason="enough"))

    @rule(cell=st.sampled_from([CELL, OTHER]))
    def reopen_a_cell(self, cell: str) -> None:
        self.both(r.CellReopened(cell=cell, superseded=(1,), by="Ines", reason="cable"))

    @rule(hold=st.booleans())
    def hold_or_release(self, hold: bool) -> None:
        if hold:
            self.both(r.RigHeld(hold="h1", fault="too-hot", reason="92 °C", do="look"))
        else:
            self.both(r.RigReleased(hold="h1", by="Ines", note=""))

    @rule()
    def fail_to_keep(self) -> None:
        with pytest.raises(StoreError):
            self.journal.append((judged(1), r.RigSettled(seconds=math.nan)), at=AT, boot=BOOT)

    @rule()
    def keep_files_and_crash(self) -> None:
        self.journal.keep(f"{CELL}-999", (self.log,))
        # The first stays an orphan; a later runner that keeps the same files takes it up.
        self.kept += not self.orphaned
        self.orphaned = True
        self.journal = self.home.open()

    @rule()
    def ask(self) -> None:
        request = r.Request(number=0, kind=r.RequestKind.STOP, by="Ines")
        assert self.home.put(request) == self.memory.put(request)

    @rule()
    def rest(self) -> None:
        self.journal.rest()

    @invariant()
    def both_show_the_same(self) -> None:
        if not hasattr(self, "journal"):
            return
        assert self.journal.entries() == self.memory.entries()
        assert self.journal.requests(0) == self.memory.requests(0)
        assert self.home.bundles() == self.kept

    def teardown(self) -> None:
        try:
            store: Store = self.home.store
            assert [p for p in problems(store, RUN) if p.severity == "error"] == []
            cached = store.run(RUN), store.cells(RUN)
            with store._file.writing():
                store._file.ask("forget_standing", (RUN,))
            assert (store.run(RUN), store.cells(RUN)) == cached
        finally:
            self.stack.close()


TestSqliteLikeMemory = SqliteLikeMemory.TestCase
TestSqliteLikeMemory.settings = settings(max_examples=12, stateful_step_count=15, deadline=None)
