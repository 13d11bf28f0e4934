"""``harness figures``: every golden capture gets its verdict, in JSON and for a person."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from harness.__main__ import main

CAPTURES = Path(__file__).parents[1] / "golden" / "captures"
ROOT = Path(__file__).parents[2]

with (CAPTURES / "expected.csv").open(newline="") as _table:
    EXPECTED = list(csv.DictReader(_table))


def figures(*argv: str | Path) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    status = main(["figures", *map(str, argv)], out=out, err=err)
    return status, out.getvalue(), err.getvalue()


def as_json(*argv: str | Path) -> tuple[int, dict[str, Any]]:
    status, out, err = figures(*argv, "--json")
    assert err == ""
    answer: dict[str, Any] = json.loads(out)
    return status, answer


@pytest.mark.parametrize("case", EXPECTED, ids=lambda case: case["file"])
def test_every_golden_capture_gets_its_verdict(case: dict[str, str]) -> None:
    status, answer = as_json(CAPTURES / case["file"], *shlex.split(case["options"]))
    if case["verdict"] in ("refused", "void"):
        assert status == 2
        assert (answer["error"]["verdict"], answer["error"]["code"]) == (
            case["verdict"],
            case["code"],
        )
        assert answer["error"]["frames"] == int(case["frames"])
        assert answer["error"]["do"]
    else:
        assert status == 0
        assert answer["frames"] == int(case["frames"])
        wanted = [] if case["verdict"] in ("read", "note") else [case["verdict"]]
        assert answer["flags"] == wanted
        assert case["verdict"] != "note" or answer["notes"]


def test_every_case_is_in_the_table() -> None:
    assert {case["file"] for case in EXPECTED} | {
        ".gitattributes",
        "expected.csv",
        "errors.txt",
    } == {path.name for path in CAPTURES.iterdir()}


def test_every_error_reads_as_it_should(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(CAPTURES)
    shown = [
        f"$ harness figures {case['file']} {case['options']}".rstrip()
        + "\n"
        + figures(case["file"], *shlex.split(case["options"]))[2]
        for case in EXPECTED
        if case["verdict"] in ("refused", "void")
    ]
    assert "\n".join(shown) == (CAPTURES / "errors.txt").read_text()


# Without a declaration a file is read where detection cannot be wrong, or refused with the
# declaration that settles it.
UNDECLARED = {
    "02_semicolon_decimal_comma.csv": 120,
    "04_comma_both_quoted.csv": 40,
    "05_thousands_dot.csv": 'thousands "." and decimal ","',
    "06_thousands_comma_quoted.csv": 'thousands "," and decimal "."',
    "08_tab.csv": 60,
    "11_unit_suffix.csv": 60,
    "34_preamble.csv": "header 4",
    "36_trailing_comma.csv": 60,
    "39_header_case_space.csv": 60,
    "44_two_programs.csv": "where program=",
    "55_clock_seconds.csv": "values clock",
}


@pytest.mark.parametrize(("file", "answer"), UNDECLARED.items())
def test_an_undeclared_file_is_read_or_told_what_settles_it(file: str, answer: int | str) -> None:
    status, shown = as_json(CAPTURES / file)
    if isinstance(answer, int):
        assert (status, shown["frames"]) == (0, answer)
    else:
        assert status == 2
        assert answer in shown["error"]["do"]


def test_json_has_the_documented_form() -> None:
    path = CAPTURES / "75_spikes_for_low_figures.csv"
    status, answer = as_json(path)
    assert status == 0
    assert answer["schema"] == "harness.figures/1"
    assert answer["file"] == str(path)
    assert answer["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert answer["figures"]["average_fps"]["definition"] == "frames-over-time/1"
    assert answer["figures"]["average_fps"]["unit"] == "fps"
    assert set(answer["low_1pct_fps_all"]) == {"percentile", "slowest-frames", "slowest-time"}
    assert answer["low_1pct_fps_all"]["percentile"] == answer["figures"]["low_1pct_fps"]["value"]
    assert answer["figures"]["low_0_1pct_fps"]["value"] is None
    assert "300 frames" in answer["figures"]["low_0_1pct_fps"]["why"]


def test_the_table_shows_units_definitions_and_flags() -> None:
    status, out, err = figures(CAPTURES / "71_loading_screen_first.csv")
    assert (status, err) == (0, "")
    assert "average frame rate" in out
    assert "frames-over-time/1" in out
    assert "not measured" in out
    assert "loading-head (frames 1 to 3, line 2)" in out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--length", "60"], "--length '60 s'"),
        (["--length", "soon"], "--length '60 s'"),
        (["--header", "0"], "whole number from 1"),
        (["--footer", "-1"], "whole number from 0"),
        (["--delimiter", "ab"], "one mark"),
        (["--where", "program"], "COLUMN=TEXT"),
        (["--kinds", "kind"], "COLUMN=KIND"),
    ],
)
def test_a_bad_option_says_what_to_write(options: list[str], said: str) -> None:
    status, out, err = figures(CAPTURES / "01_clean.csv", *options)
    assert (status, out) == (2, "")
    assert said in err
    assert "bad-option" in err


def test_a_file_that_is_not_there_is_one_clear_error(tmp_path: Path) -> None:
    status, _, err = figures(tmp_path / "frames.csv")
    assert status == 2
    assert "capture-missing" in err


def test_a_named_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "frames.csv")
    status, _, err = figures(tmp_path / "frames.csv")
    assert status == 2
    assert "is not a plain file" in err


def test_a_file_that_cannot_be_read_is_one_clear_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Broken(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise OSError(5, "Input/output error")

    path = tmp_path / "frames.csv"
    path.write_text("frame_ms\n16.4\n")
    monkeypatch.setattr("builtins.open", lambda *_: Broken())
    status, _, err = figures(path)
    assert status == 2
    assert "error[capture-missing]: the file cannot be read: Input/output error" in err
    assert "do: see that the disk is sound" in err


def test_lost_frames_are_told_once(tmp_path: Path) -> None:
    path = tmp_path / "frames.csv"
    path.write_text("frame_no,frame_ms\n1,16.4\n2,16.5\n3,16.1\n7,16.3\n8,16.2\n")
    _, _, err = figures(path)
    assert err.count("3 frames lost in 1 place") == 1


@pytest.mark.parametrize("option", ["--delimiter", "--thousands"])
@pytest.mark.parametrize("sign", ["0", "x", "\N{LATIN SMALL LETTER E WITH ACUTE}", "+", "-", '"'])
def test_a_sign_that_is_part_of_a_number_or_word_separates_nothing(option: str, sign: str) -> None:
    status, _, err = figures(CAPTURES / "01_clean.csv", f"{option}={sign}")
    assert status == 2
    assert "bad-option" in err


def test_a_column_declared_by_its_number_is_not_looked_for_further_down() -> None:
    status, answer = as_json(CAPTURES / "01_clean.csv", "--column", "9", "--unit", "ms")
    assert status == 2
    assert answer["error"]["code"] == "column-missing"
    assert answer["error"]["do"] == "declare a column from 1 to 2"


def test_a_rate_is_told_as_one_not_as_a_unit(tmp_path: Path) -> None:
    path = tmp_path / "frames.csv"
    path.write_text("frames_per_second\n60.1\n59.2\n")
    _, answer = as_json(path, "--column", "frames_per_second", "--unit", "ms")
    assert answer["error"]["code"] == "rate-column"


def test_an_ordinary_capture_is_read_without_any_heavy_library() -> None:
    code = (
        "import sys, io; from harness.__main__ import main;"
        f"main(['figures', {str(CAPTURES / '01_clean.csv')!r}, '--json'],"
        " out=io.StringIO(), err=sys.stderr);"
        "print(*sorted(set(sys.modules) & {'numpy', 'pandas', 'pyarrow', 'scipy', 'yaml', 'csv',"
        " 'sqlite3', 'subprocess', 'threading', 'structlog', 'pathlib'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.stdout.strip() == ""
    assert done.stderr == ""
