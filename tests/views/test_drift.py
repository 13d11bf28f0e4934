"""Drift as a person reads it; the text is held by a golden file."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

from harness.plan.cells import Cell
from harness.summary.drift import drift
from harness.summary.series import Measured, Per, Series
from harness.views.drift import as_text
from tests.summary.over_nights import FIRST_NIGHT

GOLDEN = Path(__file__).parents[1] / "golden" / "drift" / "new_driver.txt"

#: A cell that lost 1.5 % with a driver, and one pass that stands alone.
VALUES = [100.0, 100.4, 99.7, 100.2, 99.9, 100.1, 99.6, 100.3, 99.8, 100.0, 100.2, 99.9, 98.5, 98.4,
          98.6, 98.3, 98.7, 98.5, 96.0, 98.4]  # fmt: skip


def series(values: list[float], *, new_from: int) -> Series:
    return Series(
        rig="north-2",
        cell=Cell(title="Lantern Quay", scene="harbour loop", setting="fhd"),
        figure="average_fps",
        unit="fps",
        definition="frames-over-time/1",
        procedure="p",
        reference=True,
        per=Per.PASS,
        values=tuple(
            Measured(
                at=FIRST_NIGHT + timedelta(days=n),
                run=f"long-watch-{n + 1}",
                attempt=1,
                value=value,
                fields={"gpu.driver": "572.10" if n < new_from else "575.01"},
            )
            for n, value in enumerate(values)
        ),
    )


def text(values: list[float], *, width: int = 110, first: int = 12) -> str:
    found = drift(series(values, new_from=12), first=first)
    return "\n".join(as_text([found], apart={}, last=None, width=width)) + "\n"


def test_a_chart_is_what_the_golden_file_holds() -> None:
    assert text(VALUES) == GOLDEN.read_text(encoding="utf-8")


def test_the_chart_is_in_plain_characters() -> None:
    assert text(VALUES).isascii()


def test_sentences_keep_to_the_width_and_rows_of_the_chart_are_never_broken() -> None:
    lines = text(VALUES, width=70).splitlines()

    rows = [line for line in lines if re.match(r" +\d+  2026-", line)]
    assert len(rows) == len(VALUES)
    others = [
        line for line in lines if line not in rows and "--" not in line and "began" not in line
    ]
    assert max(map(len, others)) <= 70


def test_a_value_beyond_the_chart_stands_at_its_edge() -> None:
    row = next(line for line in text([*VALUES[:12], 500.0]).splitlines() if " 500 " in line)

    assert row.index("X") - row.index("|") == len("|            :            |      X") - 1
    assert "|      X  value high" in row
