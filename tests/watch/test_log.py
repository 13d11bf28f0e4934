"""The daemon's log: JSON lines with what they belong to, bounded, and never in the way."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from harness.watch import log as log_module
from harness.watch.log import FILE, bind, open_log


def lines(folder: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in (folder / FILE).read_text(encoding="utf-8").splitlines()]


def test_a_line_has_the_run_the_cell_and_the_pass_that_are_bound(tmp_path: Path) -> None:
    with open_log(tmp_path, out=None) as log:
        bind(run="run-1", cell="c", attempt=2)
        log.warning("stuck", silent_s=601)
        bind()
        log.info("left")

    first, second = lines(tmp_path)
    assert {k: first[k] for k in ("event", "level", "run", "cell", "attempt", "silent_s")} == {
        "event": "stuck",
        "level": "warning",
        "run": "run-1",
        "cell": "c",
        "attempt": 2,
        "silent_s": 601,
    }
    assert "run" not in second
    assert str(first["at"]).endswith("Z")


def test_a_person_reads_one_line_of_words_and_is_spared_the_passes(tmp_path: Path) -> None:
    out = io.StringIO()
    with open_log(tmp_path, out=out) as log:
        log.warning("not told", to="json://a", again_in_s=None)
        log.info("kept", kind="pass-started", run="run-1")

    assert out.getvalue()[19:] == "Z  ! not told: to json://a\n"
    assert len(lines(tmp_path)) == 2


def test_the_log_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_module, "MOST_BYTES", 2000)
    with open_log(tmp_path, out=None) as log:
        for number in range(1000):
            log.info("looked", number=number)

    files = sorted(path.name for path in tmp_path.iterdir())
    assert files == [FILE, *(f"{FILE}.{n}" for n in range(1, 5))]
    assert all(path.stat().st_size <= 2000 for path in tmp_path.iterdir())
    assert lines(tmp_path)[-1]["number"] == 999


def test_a_log_that_cannot_be_set_aside_is_written_on_and_that_is_said_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_module, "MOST_BYTES", 500)

    def refused(*_: object) -> None:
        raise PermissionError(13, "The process cannot access the file")

    monkeypatch.setattr("os.rename", refused)
    with open_log(tmp_path, out=None) as log:
        for number in range(50):
            log.info("looked", number=number)

    found = lines(tmp_path)
    assert [x["number"] for x in found if x["event"] == "looked"] == list(range(50))
    assert sum(x["event"] == "the log cannot be set aside" for x in found) == 1


def test_a_terminal_that_is_gone_costs_nothing(tmp_path: Path) -> None:
    class Gone(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError(32, "Broken pipe")

    with open_log(tmp_path, out=Gone()) as log:
        log.info("one")
        log.info("two")

    assert [x["event"] for x in lines(tmp_path)] == ["one", "two"]
