from __future__ import annotations

import sqlite3
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest

from harness.__main__ import main
from harness.errors import Exit, Problem, StoreError
from harness.store.checkpoints import run_started
from harness.store.sqlite import open_store
from harness.store.verify import problems
from tests.store.examples import AT, BEGINNING, BOOT, CELL, frame_log, keep_pass

RUN = "two-slots-1"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "store"
    with open_store(folder, write=True) as store:
        journal = store.create_run(
            RUN, plan_name="two-slots", plan_hash="9f", rig="bench-3", cells=2, at=AT
        )
        journal.append(BEGINNING, at=AT, boot=BOOT)
        for attempt in (1, 2):
            keep_pass(journal, attempt, (frame_log(tmp_path),))
    return folder


def found(folder: Path) -> list[Problem]:
    with open_store(folder, write=False) as store:
        return list(problems(store, RUN))


def tamper(folder: Path, *statements: str) -> None:
    """Change what was kept, as somebody can who takes the triggers away."""
    db = sqlite3.connect(folder / "records.sqlite", isolation_level=None)
    names = db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in names:
        db.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        db.execute(statement)
    db.close()


def test_an_untouched_store_is_as_it_was_kept(folder: Path) -> None:
    assert found(folder) == []


@pytest.mark.parametrize(
    ("statement", "seq", "what"),
    [
        (
            "UPDATE entries SET body = replace(body, '144.2', '164.2') WHERE seq = 7",
            7,
            "was changed",
        ),
        ("UPDATE entries SET at = '2026-11-02T22:31:00.125001Z' WHERE seq = 8", 8, "was changed"),
        ("UPDATE entries SET boot = 'x' WHERE seq = 1", 1, "was changed"),
        ("UPDATE entries SET attempt = 9 WHERE seq = 8", 8, "is filed under"),
        ("DELETE FROM entries WHERE seq = 7", 8, "stands where record 7 should"),
        ("UPDATE entries SET previous = hash WHERE seq = 3", 3, "does not follow"),
    ],
)
def test_a_changed_record_is_named(folder: Path, statement: str, seq: int, what: str) -> None:
    tamper(folder, statement)
    first = found(folder)[0]
    assert first.code == "record-not-as-kept"
    assert first.what.startswith(f"record {seq} (")
    assert what in first.what


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        ("DELETE FROM entries WHERE seq > 7", "records 8 to 11 are gone"),
        ("DELETE FROM entries WHERE seq > 10", "record 11 is gone"),
        ("DELETE FROM entries", "records 1 to 11 are gone"),
    ],
)
def test_records_that_are_gone_at_the_end_are_missed_though_every_hash_is_right(
    folder: Path, statement: str, what: str
) -> None:
    tamper(folder, statement)
    (error, *orphans) = found(folder)
    assert (error.code, error.severity) == ("record-not-as-kept", "error")
    assert error.what.startswith(what)
    assert {each.code for each in orphans} <= {"bundle-orphan"}


@pytest.mark.parametrize(
    ("statements", "what"),
    [
        (["DELETE FROM entries"], "records 1 to 11 are gone"),
        (["DELETE FROM entries", "DELETE FROM run_standing"], "the run has no record"),
    ],
)
def test_a_run_without_any_record_is_not_as_it_was_kept(
    folder: Path, statements: list[str], what: str
) -> None:
    tamper(folder, *statements)
    said = StringIO()
    assert main(["verify", "--store", str(folder)], out=said, err=said) == Exit.STORE
    assert f"error[record-not-as-kept]: {what}" in said.getvalue()
    assert "NOT as it was kept" in said.getvalue()


def test_a_run_whose_start_is_gone_is_refused_with_what_to_do(folder: Path) -> None:
    tamper(folder, "DELETE FROM entries WHERE seq = 1")
    with open_store(folder, write=False) as store, pytest.raises(StoreError) as refused:
        run_started(store, RUN)
    (problem,) = refused.value.problems
    assert problem.code == "run-without-start"
    assert "harness verify" in problem.do


def test_a_record_changed_together_with_its_hash_breaks_the_chain(folder: Path) -> None:
    from harness.store.rows import seal

    with open_store(folder, write=False) as store:
        row = list(store.rows(RUN))[6]
    body = row.body.replace("144.2", "164.2")
    sealed = seal(
        run=RUN,
        seq=row.seq,
        previous=row.previous,
        at=row.at,
        boot=row.boot,
        kind=row.kind,
        version=row.version,
        body=body,
    )
    tamper(folder, f"UPDATE entries SET body = '{body}', hash = '{sealed}' WHERE seq = {row.seq}")
    assert [p.what for p in found(folder)] == [
        f"record {row.seq + 1} (pass-judged) does not follow the one before it"
    ]


def _flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("harm", "code"), [(Path.unlink, "bundle-missing"), (_flip, "bundle-damaged")]
)
def test_a_bundle_that_is_not_as_kept_is_named_with_its_record(
    folder: Path, harm: Callable[[Path], None], code: str
) -> None:
    harm(sorted((folder / "bundles" / RUN).iterdir())[1])
    (problem,) = found(folder)
    assert problem.code == code
    assert problem.where[-1] == f"named by record 10 of run {RUN}"


def test_a_bundle_that_no_record_names_is_listed_and_is_no_error(
    folder: Path, tmp_path: Path
) -> None:
    with open_store(folder, write=True) as store:
        ref = store.journal(RUN).keep(f"{CELL}-003", (frame_log(tmp_path),))
        assert store.orphans(RUN) == (ref.path,)
    (problem,) = found(folder)
    assert (problem.code, problem.severity, problem.where) == (
        "bundle-orphan",
        "warning",
        (ref.path,),
    )
