from __future__ import annotations

from pathlib import Path

import pytest

from harness.rig.output import OutputFiles, last_line

CEILING = 64 * 1024


def _lines(count: int, start: int = 0) -> bytes:
    return b"".join(b"line %06d\n" % number for number in range(start, start + count))


def test_what_stays_under_the_ceiling_is_kept_byte_for_byte(tmp_path: Path) -> None:
    path = tmp_path / "stdout"
    said = b"title: Caf\xe9 \x8d \xff done\r\n\x1b[2K\rprogress 100%"
    path.write_bytes(said)
    output = OutputFiles((path,), ceiling_bytes=CEILING)
    output.trim()
    assert output.close() == 0
    assert path.read_bytes() == said


def test_over_the_ceiling_the_beginning_and_the_end_are_kept_and_the_rest_counted(
    tmp_path: Path,
) -> None:
    path = tmp_path / "stdout"
    said = _lines(50_000)
    path.write_bytes(said)
    dropped = OutputFiles((path,), ceiling_bytes=CEILING).close()
    kept = path.read_bytes()
    before, after = kept.split(b"(harness: %d bytes of output dropped here)\n" % dropped)
    assert said.startswith(before)
    assert said.endswith(after)
    assert len(before) + dropped + len(after) == len(said)
    assert len(kept) <= CEILING + 100
    assert b"line 049999\n" in after


def test_no_two_halves_of_lines_ever_read_like_one(tmp_path: Path) -> None:
    path = tmp_path / "stdout"
    path.write_bytes(_lines(50_000))
    OutputFiles((path,), ceiling_bytes=CEILING).close()
    lines = path.read_bytes().split(b"\n")
    assert all(line.startswith((b"line ", b"(harness: ")) for line in lines if line)
    assert all(len(line) == 11 for line in lines if line.startswith(b"line"))


def test_output_without_any_line_break_is_cut_too(tmp_path: Path) -> None:
    path = tmp_path / "stderr"
    path.write_bytes(b"x" * 1_000_000)
    dropped = OutputFiles((path,), ceiling_bytes=CEILING).close()
    kept = path.read_bytes()
    assert kept.count(b"x") + dropped == 1_000_000
    assert b"\n(harness: %d bytes of output dropped here)\n" % dropped in kept


@pytest.mark.parametrize("looks", [1, 7])
def test_trimming_while_it_grows_gives_room_back_and_changes_no_count(
    tmp_path: Path, looks: int
) -> None:
    path = tmp_path / "stdout"
    output = OutputFiles((path,), ceiling_bytes=CEILING)
    said = _lines(200_000)
    part = len(said) // looks
    for number in range(looks):
        stop = len(said) if number == looks - 1 else (number + 1) * part
        with path.open("ab") as file:
            file.write(said[number * part : stop])
        output.trim()
    occupied = path.stat().st_blocks * 512
    dropped = output.close()
    kept = path.read_bytes()
    before, after = kept.split(b"(harness: %d bytes of output dropped here)\n" % dropped)
    assert said.startswith(before)
    assert said.endswith(after)
    assert len(before) + dropped + len(after) == len(said)
    assert b"\0" not in kept
    assert occupied < len(said) // 4, "a hole was not given back to the disk"


def test_files_that_were_never_made_drop_nothing(tmp_path: Path) -> None:
    output = OutputFiles((tmp_path / "stdout", tmp_path / "stderr"))
    output.trim()
    assert output.close() == 0


def test_the_last_line_is_the_last_that_says_something(tmp_path: Path) -> None:
    path = tmp_path / "stderr"
    path.write_bytes(b"first\ncannot open display \xff\n\n  \n")
    assert last_line(path) == "cannot open display \N{REPLACEMENT CHARACTER}"
    assert last_line(tmp_path / "none") == ""
