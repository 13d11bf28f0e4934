"""The lines of a rehearsal, held against a golden file."""

from __future__ import annotations

import os
import random
from datetime import UTC, datetime
from pathlib import Path

from harness.plan import document as d
from harness.plan.cells import cells
from harness.summary.assumed import assumed
from harness.summary.rehearsal import rehearse
from harness.views.rehearsal import as_text
from tests.run.rehearsal import plan

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "rehearsal"


def lines(a_plan: d.Plan, *, seed: int | None, rows: int | None) -> list[str]:
    taken = assumed(a_plan, earlier=None, heat=())
    told = rehearse(
        a_plan,
        assumed=taken,
        start=datetime(2026, 11, 2, 21, 0, tzinfo=UTC),
        zone=UTC,
        person_s=600.0,
        chance=random.Random(seed or 0),
        bad=seed is not None,
    )
    return [
        *as_text(
            "two-slots",
            told,
            taken,
            {cell.key: cell for cell in cells(a_plan)},
            zone=UTC,
            person_s=600.0,
            seed=seed,
            rows=rows,
        )
    ]


def night_of_two_slots() -> d.Plan:
    bound = d.Bound(reading="gpu.temperature", unit="°C", at_most=55.0)
    return plan(
        titles=2,
        keep=2,
        warm_up=1,
        gates=(d.Gate(bound=bound, for_s=10.0, give_up_s=900.0, then=d.Then.MARK),),
        conditions=(
            d.Condition(
                name="slot",
                by=d.By.OPERATOR,
                opens_case=True,
                reboot=True,
                levels=tuple(d.Level(name=n, say=f"Card in slot {n}.") for n in ("one", "two")),
            ),
        ),
        person=d.Person(from_minute=8 * 60, to_minute=22 * 60),
        night=d.Night(start_minute=21 * 60, end_minute=21 * 60 + 20, days=()),
    )


def held(name: str, shown: list[str]) -> None:
    """Hold *shown* against the golden file; HARNESS_GOLDEN=write writes it anew."""
    text = "\n".join(shown) + "\n"
    if os.environ.get("HARNESS_GOLDEN") == "write":
        (GOLDEN / name).parent.mkdir(parents=True, exist_ok=True)
        (GOLDEN / name).write_text(text, encoding="utf-8")
    assert text == (GOLDEN / name).read_text(encoding="utf-8")


def test_a_night_with_a_persons_steps_reads_as_it_did() -> None:
    held("night.txt", lines(night_of_two_slots(), seed=None, rows=4))


def test_a_bad_night_reads_as_it_did() -> None:
    held("bad_night.txt", lines(plan(titles=3, keep=3, at_most=5), seed=8, rows=None))


def test_the_case_is_never_opened_without_the_words_of_caution() -> None:
    shown = "\n".join(lines(night_of_two_slots(), seed=None, rows=0))
    for words in ("unplug", "Discharge yourself", "Never open a power supply", "qualified person"):
        assert words in shown
