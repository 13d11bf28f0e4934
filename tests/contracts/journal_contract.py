"""What every journal must do. A store subclasses ``JournalContract`` and gives a ``home``."""

from __future__ import annotations

import math
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Protocol

import pytest

from harness.errors import StoreError
from harness.rig.tasks import Member
from harness.run.ports import Journal
from harness.run.records import BundleRef, Record, Request, RequestKind, RigSettled
from tests.store.examples import (
    AT,
    BEGINNING,
    BOOT,
    CELL,
    ended,
    frame_log,
    judged,
    keep_pass,
    started,
)


class Home(Protocol):
    """Where a journal lives, so that it can be opened again and asked from outside."""

    refuses_what_is_not_finite: bool

    def open(self) -> Journal:
        """Open the journal of the one run, anew each time, as after a crash of the runner."""

    def put(self, request: Request) -> int:
        """Put a request from another process; return its number."""

    def bundles(self) -> int:
        """Return how many bundles are kept."""

    def content(self, ref: BundleRef, name: str) -> bytes:
        """Return a member of a bundle."""


def _records(journal: Journal) -> list[Record]:
    return [entry.record for entry in journal.entries()]


class JournalContract:
    """Subclass it in ``tests/store`` with a fixture called ``home``."""

    def test_a_new_journal_is_empty(self, home: Home) -> None:
        assert home.open().entries() == ()

    def test_the_instant_of_the_last_entry_is_at_hand(self, home: Home) -> None:
        journal = home.open()
        assert journal.last_at() is None
        journal.append(BEGINNING, at=AT, boot=BOOT)
        late = AT + timedelta(hours=2, microseconds=7)
        journal.append((started(1),), at=late, boot=BOOT)
        assert journal.last_at() == late
        early = AT - timedelta(hours=9)  # the clock was set back
        journal.append((ended(1),), at=early, boot=BOOT)
        assert journal.last_at() == early
        assert home.open().last_at() == early

    def test_records_come_back_in_the_order_they_were_kept(self, home: Home) -> None:
        journal = home.open()
        journal.append(BEGINNING, at=AT, boot=BOOT)
        journal.append((started(1),), at=AT, boot=BOOT)
        assert _records(journal) == [*BEGINNING, started(1)]
        assert [entry.seq for entry in journal.entries()] == [1, 2, 3, 4, 5, 6]

    def test_a_record_keeps_its_instant_and_boot(self, home: Home) -> None:
        journal = home.open()
        journal.append((started(1),), at=AT, boot="boot-a")
        journal.append((judged(1),), at=AT + timedelta(microseconds=1), boot="boot-b")
        first, second = journal.entries()
        assert (first.at, first.boot) == (AT, "boot-a")
        assert (second.at - first.at, second.boot) == (timedelta(microseconds=1), "boot-b")

    def test_an_instant_of_another_zone_is_the_same_instant(self, home: Home) -> None:
        journal = home.open()
        lisbon = datetime(2026, 7, 2, 22, 30, tzinfo=timezone(timedelta(hours=1)))
        journal.append((judged(1),), at=lisbon, boot=BOOT)
        (entry,) = journal.entries()
        assert entry.at == lisbon
        assert entry.at.utcoffset() is not None

    def test_an_instant_without_a_zone_is_refused(self, home: Home) -> None:
        journal = home.open()
        with pytest.raises(ValueError, match="without a zone"):
            journal.append((judged(1),), at=AT.replace(tzinfo=None), boot=BOOT)
        assert journal.entries() == ()

    def test_keeping_no_records_changes_nothing(self, home: Home) -> None:
        journal = home.open()
        journal.append((), at=AT, boot=BOOT)
        assert journal.entries() == ()

    def test_records_are_kept_all_or_none(self, home: Home) -> None:
        if not home.refuses_what_is_not_finite:
            pytest.skip("the journal in memory keeps whatever it is handed")
        journal = home.open()
        journal.append((started(1),), at=AT, boot=BOOT)
        with pytest.raises(StoreError):
            journal.append((judged(1), RigSettled(seconds=math.nan)), at=AT, boot=BOOT)
        assert _records(journal) == [started(1)]
        assert _records(home.open()) == [started(1)]

    def test_the_next_runner_sees_everything_kept(self, home: Home) -> None:
        journal = home.open()
        journal.append(BEGINNING, at=AT, boot=BOOT)
        journal.rest()
        journal.append((started(1), ended(1), judged(1)), at=AT, boot=BOOT)
        assert home.open().entries() == journal.entries()

    def test_the_next_runner_goes_on_where_the_last_one_ended(self, home: Home) -> None:
        home.open().append((started(1),), at=AT, boot=BOOT)
        journal = home.open()
        journal.append((judged(1),), at=AT, boot=BOOT)
        assert [entry.seq for entry in journal.entries()] == [1, 2]

    def test_requests_come_back_numbered_in_the_order_they_were_put(self, home: Home) -> None:
        journal = home.open()
        assert journal.requests(0) == ()
        confirm = Request(number=0, kind=RequestKind.CONFIRM, by="Ines", note="seated", step=2)
        rerun = Request(number=0, kind=RequestKind.RERUN, by="Tomé", cells=(CELL, "a" * 12))
        assert [home.put(confirm), home.put(rerun)] == [1, 2]
        assert journal.requests(0) == (
            Request(number=1, kind=RequestKind.CONFIRM, by="Ines", note="seated", step=2),
            Request(number=2, kind=RequestKind.RERUN, by="Tomé", cells=(CELL, "a" * 12)),
        )

    def test_only_requests_after_the_number_asked_for_come_back(self, home: Home) -> None:
        journal = home.open()
        for _ in range(3):
            home.put(Request(number=0, kind=RequestKind.STOP, by="Ines"))
        assert [request.number for request in journal.requests(1)] == [2, 3]
        assert journal.requests(3) == ()

    def test_the_files_of_an_attempt_are_kept_byte_for_byte(
        self, home: Home, tmp_path: Path
    ) -> None:
        log = frame_log(tmp_path)
        odd = tmp_path / "stdout"
        odd.write_bytes(bytes(range(256)) + b"\r\n\x1a\x00")
        ref = home.open().keep(f"{CELL}-001", (log, Member(name="output/stdout", path=odd)))
        assert [name for name, _, _ in ref.members] == ["captures/frames.csv", "output/stdout"]
        assert home.content(ref, "captures/frames.csv") == log.path.read_bytes()
        assert home.content(ref, "output/stdout") == odd.read_bytes()

    def test_keeping_an_attempt_twice_makes_two_bundles(self, home: Home, tmp_path: Path) -> None:
        journal, log = home.open(), frame_log(tmp_path)
        first = journal.keep(f"{CELL}-001", (log,))
        second = journal.keep(f"{CELL}-001", (log,))
        assert home.bundles() == 2
        assert first.path != second.path
        assert first.members == second.members

    def test_a_bundle_that_no_record_names_is_still_there(self, home: Home, tmp_path: Path) -> None:
        journal, log = home.open(), frame_log(tmp_path)
        journal.append((started(1),), at=AT, boot=BOOT)
        ref = journal.keep(f"{CELL}-001", (log,))
        journal = home.open()
        assert _records(journal) == [started(1)]
        assert home.content(ref, "captures/frames.csv") == log.path.read_bytes()

    def test_a_pass_is_kept_with_its_bundle(self, home: Home, tmp_path: Path) -> None:
        journal = home.open()
        ref = keep_pass(journal, 1, (frame_log(tmp_path),))
        assert _records(home.open()) == [started(1), ended(1, bundle=ref), judged(1)]
