from __future__ import annotations

import dataclasses
import hashlib
import json
from datetime import datetime, timedelta, timezone

import pytest

from harness.run.ports import Entry
from harness.store.rows import NO_HASH, at_text, from_row, seal, to_row
from tests.store.examples import AT, BOOT, CELL, judged, started

ENTRY = Entry(seq=7, at=AT, boot=BOOT, record=started(3))


def test_a_row_comes_back_as_its_entry() -> None:
    row = to_row(ENTRY, run="two-slots-1", previous=NO_HASH)
    back = from_row(
        seq=row.seq, at=row.at, boot=row.boot, kind=row.kind, version=row.version, body=row.body
    )
    assert back == ENTRY


def test_a_row_is_filed_under_its_cell_and_pass() -> None:
    row = to_row(ENTRY, run="two-slots-1", previous=NO_HASH)
    assert (row.kind, row.version, row.cell, row.attempt) == ("pass-started", 1, CELL, 3)


@pytest.mark.parametrize(
    ("at", "text"),
    [
        (AT, "2026-11-02T22:30:00.125000Z"),
        (
            datetime(2026, 7, 1, 0, 30, tzinfo=timezone(timedelta(hours=2))),
            "2026-06-30T22:30:00.000000Z",
        ),
    ],
)
def test_an_instant_is_written_as_utc_with_six_digits(at: datetime, text: str) -> None:
    # RFC 3339, section 5.6; six digits, so that the order of the texts is that of time
    # (section 5.1 of the same).
    assert at_text(at) == text
    assert datetime.fromisoformat(text) == at


def test_an_instant_without_a_zone_is_a_bug() -> None:
    with pytest.raises(ValueError, match="without a zone"):
        at_text(AT.replace(tzinfo=None))


def test_the_hash_is_sha256_over_the_list_as_json() -> None:
    # Worked without the harness:
    #   printf '%s' '["two-slots-1",1,"","2026-11-02T22:30:00.125000Z","0b6f1c9a",
    #   "run-paused",1,"{\"reason\":\"61 °C\"}"]' (in one line) | sha256sum
    assert (
        seal(
            run="two-slots-1",
            seq=1,
            previous="",
            at="2026-11-02T22:30:00.125000Z",
            boot="0b6f1c9a",
            kind="run-paused",
            version=1,
            body='{"reason":"61 °C"}',
        )
        == "0fccfe2dcb2dcdfa3eae1f432e523f1a4f0c5ac7902ed088cfee543b41b6c564"
    )


def test_the_hash_can_be_checked_with_any_json_library() -> None:
    row = to_row(ENTRY, run="two-slots-1", previous="ab" * 32)
    plain = [row.run, row.seq, row.previous, row.at, row.boot, row.kind, row.version, row.body]
    text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"))
    assert row.hash == hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize(
    "change",
    [
        {"run": "two-slots-2"},
        {"seq": 8},
        {"previous": "cd" * 32},
        {"at": "2026-11-02T22:30:00.125001Z"},
        {"boot": "0b6f1c9b"},
        {"kind": "pass-skipped"},
        {"version": 2},
        {"body": "{}"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_nothing_can_change_without_the_hash(change: dict[str, object]) -> None:
    row = to_row(ENTRY, run="two-slots-1", previous="ab" * 32)
    changed = dataclasses.replace(row, **change)  # type: ignore[arg-type]
    names = ("run", "seq", "previous", "at", "boot", "kind", "version", "body")
    assert seal(**{name: getattr(changed, name) for name in names}) != row.hash


def test_two_records_cannot_be_run_together_into_one() -> None:
    # Fields are quoted, so nothing can move from the end of one to the start of the next.
    one = seal(run="a", seq=1, previous="", at="t", boot="b", kind="k", version=1, body='","x')
    two = seal(run="a", seq=1, previous="", at="t", boot='b","k', kind="", version=1, body="x")
    assert one != two
    assert to_row(dataclasses.replace(ENTRY, record=judged(3)), run="r", previous="").hash
