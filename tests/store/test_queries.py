from __future__ import annotations

import re
import sqlite3
from pathlib import Path

import pytest

from harness.store import queries as module
from harness.store.queries import SQL, migrations, queries
from harness.store.schema import statements

STORE = Path(module.__file__).parent


def test_every_query_is_described() -> None:
    text = (SQL / "sqlite" / "queries.sql").read_text(encoding="utf-8")
    for name in queries("sqlite"):
        assert re.search(rf"^-- name: {name}\n-- [A-Z]", text, re.MULTILINE), name


def test_every_query_is_one_statement_of_the_schema() -> None:
    db = sqlite3.connect(":memory:")
    for step in migrations("sqlite"):
        for statement in statements(step):
            db.execute(statement)
    for name, query in queries("sqlite").items():
        names = dict.fromkeys(re.findall(r":(\w+)", query))
        parameters = names if names else [None] * query.count("?")
        db.execute(f"EXPLAIN {query}", parameters)
        assert query.count(";") == 1, name
    db.close()


def test_every_query_is_asked_somewhere() -> None:
    code = "".join(path.read_text(encoding="utf-8") for path in STORE.glob("*.py"))
    assert [name for name in queries("sqlite") if f'"{name}"' not in code] == []


@pytest.mark.parametrize(
    ("name", "uses"),
    [
        ("entries", "PRIMARY KEY"),
        ("story", "entries_by_cell"),
        ("last_entry", "PRIMARY KEY"),
        ("runs_of_plan", "runs_by_plan"),
        ("requests", "PRIMARY KEY"),
        ("cells", "PRIMARY KEY"),
    ],
)
def test_a_question_that_is_asked_often_searches_an_index(name: str, uses: str) -> None:
    db = sqlite3.connect(":memory:")
    for step in migrations("sqlite"):
        for statement in statements(step):
            db.execute(statement)
    query = queries("sqlite")[name]
    plan = db.execute(f"EXPLAIN QUERY PLAN {query}", [None] * query.count("?")).fetchall()
    db.close()
    assert any("SEARCH" in line and uses in line for *_, line in plan), plan
    assert not any("SCAN" in line for *_, line in plan)


def test_a_gap_in_the_numbers_of_migrations_is_a_bug(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "odd").mkdir()
    for name in ("0001_a.sql", "0003_b.sql"):
        (tmp_path / "odd" / name).write_text("SELECT 1;\n")
    monkeypatch.setattr(module, "SQL", tmp_path)
    with pytest.raises(ValueError, match="not numbered from 1"):
        migrations("odd")


def test_one_name_for_two_queries_is_a_bug(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "twice").mkdir()
    (tmp_path / "twice" / "queries.sql").write_text(
        "-- name: a\nSELECT 1;\n-- name: a\nSELECT 2;\n"
    )
    monkeypatch.setattr(module, "SQL", tmp_path)
    with pytest.raises(ValueError, match="two queries are called a"):
        queries("twice")
