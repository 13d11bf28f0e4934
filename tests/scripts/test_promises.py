"""The promises, with few samples and a fixed seed; and how a broken one is told."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from promises.__main__ import chance, main, promised, sections, shown
from promises.line import Line, share_line

ROOT = Path(__file__).parent.parent.parent


@pytest.mark.parametrize("name", sections())
def test_every_promise_is_kept(name: str) -> None:
    # By the fixed seed; three standard errors of few samples are allowed.
    lines = list(sections()[name](chance(name, quick=True)))
    assert lines
    assert [shown(line) for line in lines if line.kept is False] == []


def test_a_promise_is_broken_beyond_three_standard_errors() -> None:
    def line(measured: float) -> Line:
        return Line(name="x", measured=measured, error=0.5, least=94.0, most=96.0)

    assert [line(value).kept for value in (92.4, 92.6, 97.4, 97.6)] == [False, True, True, False]
    assert Line(name="x", measured=50.0, error=0.1).kept is None


def test_a_share_of_none_or_all_has_an_error_too() -> None:
    assert share_line("x", 0, 1000).error == pytest.approx(0.1, rel=1e-3)
    assert share_line("x", 1000, 1000).error == pytest.approx(0.1, rel=1e-3)
    assert share_line("x", 500, 1000).error == pytest.approx(1.58, abs=0.005)


@pytest.mark.parametrize(
    ("least", "most", "words"),
    [(94.0, 96.0, "94 to 96 %"), (None, 5.0, "≤ 5 %"), (79.0, None, "≥ 79 %"), (None, None, "-")],
)
def test_what_is_promised_is_told_in_words(
    least: float | None, most: float | None, words: str
) -> None:
    assert promised(Line(name="x", measured=1.0, error=0.1, least=least, most=most)) == words


def test_the_same_seed_gives_the_same_lines() -> None:
    section = sections()["coverage-visits"]
    first, again = (list(section(chance("coverage-visits", quick=True))) for _ in range(2))
    assert first == again


def test_an_unknown_section_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["coverige"]) == 2
    assert "no section is called coverige" in capsys.readouterr().err


def test_it_runs_from_anywhere_as_a_script(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "promises"), "coverage-visits", "--quick"],
        cwd=tmp_path,
        capture_output=True,
        check=True,
        encoding="utf-8",
    )
    assert "3 visits of 4 passes, the visit as unit" in done.stdout
