"""A plan file on disk: what is there, what can be read, and how it is encoded."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.errors import AskedError
from harness.plan.check import check
from harness.plan.read import read_plan
from tests.plan.words import CLEAN, VOCABULARY


@pytest.mark.parametrize(
    "encoded",
    [
        CLEAN.encode("utf-8"),
        CLEAN.encode("utf-8-sig"),
        CLEAN.replace("\n", "\r\n").encode(),
        CLEAN.replace("\n", "\r").encode(),
    ],
    ids=["plain", "byte order mark", "CRLF", "CR"],
)
def test_every_line_end_and_a_mark_are_taken(tmp_path: Path, encoded: bytes) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(encoded)

    assert check(read_plan(path), VOCABULARY).problems == ()


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
def test_another_encoding_is_refused(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(CLEAN.replace("Lantern Quay", "Café Bale").encode(encoding))

    assert [problem.code for problem in read_plan(path).problems] == ["not-utf-8"]


def test_a_file_that_is_not_there_is_a_wrong_question(tmp_path: Path) -> None:
    with pytest.raises(AskedError, match="there is no file"):
        read_plan(tmp_path / "none.yaml")


def test_a_folder_is_no_plan(tmp_path: Path) -> None:
    with pytest.raises(AskedError, match="is a folder"):
        read_plan(tmp_path)


def test_a_path_that_cannot_be_one_is_a_wrong_question() -> None:
    with pytest.raises(AskedError, match="cannot be read"):
        read_plan("plan\0.yaml")


def test_a_file_that_is_far_too_large_is_not_taken_apart(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    with path.open("wb") as stream:
        stream.truncate(17 * 2**20)

    assert [problem.code for problem in read_plan(path).problems] == ["plan-too-large"]
