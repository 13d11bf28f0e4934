"""The table of a comparison, held by golden files: look at them as a reader does."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.plan.document import Compare
from harness.summary.comparison import Asked, Comparison, compare
from harness.summary.matching import match
from harness.views.comparison import as_text
from tests.summary.comparing import a_pass, plan, side, title

GOLDEN = Path(__file__).parent.parent / "golden" / "comparison"


def a_night() -> Comparison:
    """Return two titles at two settings: one of every word, a cell alone, a marked pass."""
    asked = plan(title(), title("Copper Fen"), compare=Compare(same=("os.build",)))
    values = {
        ("Lantern Quay", "fhd"): ([101.2, 100.8, 101.0, 101.4], [111.9, 111.6, 112.1, 112.0]),
        ("Lantern Quay", "uhd"): ([48.11, 48.25, 48.02, 48.20], [48.30, 48.41, 48.24, 48.37]),
        ("Copper Fen", "fhd"): ([244.0, 251.0, 240.5, 247.0], [251.0, 262.0, 239.0, 250.0]),
    }
    cells = [
        side(way, own, of=asked, name=name, setting=setting)
        for (name, setting), sides in values.items()
        for way, own in zip(("stock", "quiet"), sides, strict=True)
    ]
    cells.append(side("stock", [88.0, 88.5], of=asked, name="Copper Fen", setting="uhd"))
    cells.append(
        side(
            "quiet", [a_pass(90.0, 1, marks=("gate gave up",))],
            of=asked, name="Copper Fen", setting="uhd",
        )
    )  # fmt: skip
    matched = match(cells, base={"way": ("stock",)}, against={"way": ("quiet",)}, where={})
    return compare(matched, asked=Asked(weights={}))


def two_nights() -> Comparison:
    """Return one title on two rigs, in runs of two plans, compared despite a difference."""
    cells = [
        side("stock", [101.0, 101.4, 100.7], run="before-1", rig="north-2",
             fingerprint={"cpu.model": "six cores"}),
        side("stock", [96.0, 96.4, 95.9], run="after-1", rig="south-1", of=plan(revision="2"),
             fingerprint={"cpu.model": "eight cores"}),
    ]  # fmt: skip
    matched = match(
        cells, base={"run": ("before-1",)}, against={"run": ("after-1",)}, where={"way": ("stock",)}
    )
    return compare(
        matched, asked=Asked(weights={}, despite="the second revision only renames a file")
    )


@pytest.mark.parametrize("width", [80, 140])
@pytest.mark.parametrize("name", ["a_night", "two_nights"])
def test_the_table_is_the_golden_one(name: str, width: int) -> None:
    shown = "\n".join(as_text(globals()[name](), width=width)) + "\n"

    assert shown == (GOLDEN / f"{name}_{width}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [60, 80, 100, 140])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    for found in (a_night(), two_nights()):
        assert max(map(len, as_text(found, width=width))) <= width


def test_where_a_row_has_no_interval_there_is_none_over_all() -> None:
    cells = [side("stock", [100.0]), side("quiet", [104.0])]
    matched = match(cells, base={"way": ("stock",)}, against={"way": ("quiet",)}, where={})
    shown = "\n".join(as_text(compare(matched, asked=Asked(weights={})), width=140))

    assert "over 1 title: +4.0 % (no interval: not every row has one)  unresolved" in shown
    assert "for these titles" not in shown
