"""Instants as a person writes them on a command line."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from harness.errors import AskedError
from harness.plan.instants import instant_of

NOW = datetime(2026, 11, 25, 20, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def lisbon(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "Europe/Lisbon")
    time.tzset()
    yield
    monkeypatch.undo()
    assert os.environ.get("TZ") != "Europe/Lisbon"
    time.tzset()


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("22:30", "2026-11-25T22:30:00+00:00"),
        ("19:59", "2026-11-26T19:59:00+00:00"),  # gone by today
        ("20:00", "2026-11-25T20:00:00+00:00"),
        ("2026-07-01 22:30", "2026-07-01T21:30:00+00:00"),  # summer time
        ("2026-10-25T01:30", "2026-10-25T00:30:00+00:00"),  # comes twice: the first
        ("2026-11-25T22:30:00Z", "2026-11-25T22:30:00+00:00"),
        ("2026-11-25T22:30:00+02:00", "2026-11-25T20:30:00+00:00"),
        ("now", "2026-11-25T20:00:00+00:00"),
    ],
)
def test_what_stands_for_an_instant(text: str, instant: str) -> None:
    assert instant_of(text, now=NOW, option="--at").isoformat() == instant


@pytest.mark.parametrize("text", ["", "25:00", "tonight", "2026-02-30 10:00", "2230", "2026-11-25"])
def test_what_stands_for_none_is_refused(text: str) -> None:
    with pytest.raises(AskedError, match="--at is not a time"):
        instant_of(text, now=NOW, option="--at")
