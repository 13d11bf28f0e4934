"""Fixtures of real cards: whole, and nothing in them that tells one card from another."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import card_fixture
from card_proof import QUERY
from tests import recorded_card

#: What names a card, a slot, a machine or a folder of it.
NAMES = re.compile(
    r"GPU-[0-9a-f]{8}-|(?:[0-9a-fA-F]{4}){1,2}:[0-9a-fA-F]{2}:[0-9a-fA-F]{2}\.\d"
    r"|/(?:tmp|home|root|opt|work)/|[Ss]erial|\b(?:\d{1,3}\.){3}\d{1,3}\b"
)


def files() -> list[Path]:
    return [each for each in recorded_card.FOLDER.iterdir() if each.is_file()]


@pytest.mark.parametrize("file", files(), ids=lambda each: each.name)
def test_nothing_in_a_fixture_names_a_card_or_a_machine(file: Path) -> None:
    told = recorded_card.text(file.name) if file.suffix == ".gz" else file.read_text("utf-8")
    # A driver's version has three parts, an address four.
    assert [each[0] for each in NAMES.finditer(told.replace(card_fixture.UUID, ""))] == []


def test_a_card_and_its_slot_become_others() -> None:
    told = "GPU-01234567-89ab-cdef-0123-456789abcdef, 00000000:3B:00.0 and 0000:3b:00.0"
    assert card_fixture.nameless(told) == f"{card_fixture.UUID}, 0000:0a:00.0 and 0000:0a:00.0"


@pytest.mark.parametrize("cut", [", 47, 5", ", 1, 2, 3, 4, 5, 6, 7, 8, 9, 0x000000000"])
def test_a_line_that_the_logger_did_not_finish_is_left_out(tmp_path: Path, cut: str) -> None:
    log = tmp_path / "log.csv"
    whole = ", ".join(["2026/11/25 04:50:02.202", *"12345678", "9", "0x1"])
    log.write_text(f"{whole}\n2026/11/25 04:50:03.209{cut}", encoding="utf-8")
    assert list(card_fixture.log_lines(log)) == [",".join(QUERY), whole.replace(", ", ",")]


def test_the_same_proof_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "other"):
        card_fixture.write(tmp_path / name, iter(["a", "b"]))
    assert (tmp_path / "one").read_bytes() == (tmp_path / "other").read_bytes()


def test_a_fixture_is_small() -> None:
    assert sum(each.stat().st_size for each in files()) < 60_000
