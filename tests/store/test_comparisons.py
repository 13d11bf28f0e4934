from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from harness.errors import StoreError
from harness.store.sqlite import open_store
from harness.store.verify import problems_of_comparisons
from tests.store.examples import AT, despite
from tests.store.test_verify import tamper

RUN = "two-slots-1"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_store(tmp_path, write=True) as store:
        store.create_run(RUN, plan_name="p", plan_hash="9f", rig="bench-3", cells=2, at=AT)
        store.comparisons().keep(despite(run=RUN), at=AT)
        store.comparisons().keep(despite(run=RUN, reason="another one"), at=AT)
    return tmp_path


def codes(folder: Path) -> list[str]:
    with open_store(folder, write=False) as store:
        return [f"{each.code}: {each.what}" for each in problems_of_comparisons(store)]


def test_what_was_kept_is_read_back_as_it_was_made(folder: Path) -> None:
    with open_store(folder, write=False) as store:
        first, second = store.comparisons().all()

    assert (first.number, first.at, first.made) == (1, AT, despite(run=RUN))
    assert (second.number, second.made.reason) == (2, "another one")
    assert codes(folder) == []


def test_the_same_comparison_by_the_same_person_is_kept_once(folder: Path) -> None:
    with open_store(folder, write=True) as store:
        again = store.comparisons().keep(despite(run=RUN), at=AT + timedelta(days=1))
        other = store.comparisons().keep(despite(run=RUN, by="Tomas"), at=AT)

    assert (again.number, again.at) == (1, AT)
    assert other.number == 3


@pytest.mark.parametrize(
    ("statement", "what"),
    [
        ("UPDATE comparisons SET body = replace(body, 'another', 'no')", "changed"),
        ("UPDATE comparisons SET at = '2026-11-03T00:00:00.000000Z' WHERE number = 1", "changed"),
        ("DELETE FROM comparisons WHERE number = 1", "stands where comparison 1 should"),
    ],
)
def test_verify_tells_what_is_not_as_it_was_kept(folder: Path, statement: str, what: str) -> None:
    tamper(folder, statement)

    assert any("comparison-not-as-kept" in each and what in each for each in codes(folder))


def test_a_comparison_of_a_run_that_is_not_there_is_told(folder: Path) -> None:
    with open_store(folder, write=True) as store:
        store.comparisons().keep(despite(run="elsewhere-1"), at=AT)

    assert any("is of run elsewhere-1" in each for each in codes(folder))


def test_one_that_a_newer_harness_kept_is_refused_with_what_to_do(folder: Path) -> None:
    tamper(folder, """UPDATE comparisons SET body = replace(body, '"version":1', '"version":9')""")

    with open_store(folder, write=False) as store, pytest.raises(StoreError) as error:
        store.comparisons().all()
    assert error.value.problems[0].code == "comparison-unreadable"


def test_two_desks_may_keep_at_the_same_time(folder: Path) -> None:
    with open_store(folder, write=True) as one, open_store(folder, write=True) as other:
        one.comparisons().keep(despite(run=RUN, by="Ines", reason="one"), at=AT)
        other.comparisons().keep(despite(run=RUN, by="Tomas", reason="two"), at=AT)

    db = sqlite3.connect(folder / "records.sqlite")
    assert [row[0] for row in db.execute("SELECT number FROM comparisons")] == [1, 2, 3, 4]
    db.close()
    assert codes(folder) == []
