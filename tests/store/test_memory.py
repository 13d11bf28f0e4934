from __future__ import annotations

import pytest

from harness.run.ports import Journal
from harness.run.records import BundleRef, Request
from harness.store.memory import MemoryJournal
from tests.contracts.journal_contract import Home, JournalContract


class MemoryHome:
    """The journal in memory outlives its runner."""

    refuses_what_is_not_finite = False

    def __init__(self) -> None:
        self.journal = MemoryJournal()

    def open(self) -> Journal:
        return self.journal

    def put(self, request: Request) -> int:
        return self.journal.put(request)

    def bundles(self) -> int:
        return len(self.journal.bundles)

    def content(self, ref: BundleRef, name: str) -> bytes:
        return self.journal.bundles[ref.path][name]


class TestMemoryJournal(JournalContract):
    @pytest.fixture
    def home(self) -> Home:
        return MemoryHome()
