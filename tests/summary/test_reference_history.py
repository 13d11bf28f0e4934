from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from harness.plan import document as d
from harness.plan.canonical import freeze
from harness.plan.order import blocks, reference_cells
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.ports import Entry
from harness.summary.reference_history import reference_now
from tests.run.rehearsal import plan as rehearsal_plan

AT = datetime(2026, 11, 2, 22, 0, tzinfo=UTC)

#: NIST/SEMATECH e-Handbook, 6.3.2.2, the example of individuals control limits: ten flowrates
#: with a mean of 50.81, a mean moving range of 1.8778, limits of 45.8159 and 55.8041 (from memory).
FLOWRATES = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def _plan() -> d.Plan:
    plain = rehearsal_plan()
    title = plain.titles[0]
    return replace(
        plain,
        reference=d.Reference(
            title=title.title, scene=title.scene, setting=title.settings[0]
        ),
    )  # fmt: skip


def _figure(value: float) -> Figure:
    return Figure(name="average_fps", value=value, unit="fps", definition="average/1")


def _entries(values: Iterable[float], *, reference: bool = True) -> list[Entry]:
    plan = _plan()
    [key] = {key for key in reference_cells(plan, blocks(plan)) if key is not None}
    records: list[Any] = []
    for attempt, value in enumerate(values, 1):
        started = r.PassStarted(
            cell=key, attempt=attempt, warm_up=False, group=1, block=0, round=1, waited_s=0.0,
            readings=(), reference=reference,
        )  # fmt: skip
        ended = r.PassEnded(cell=key, attempt=attempt, end=None, figures=(_figure(value),))
        judged = r.PassJudged(cell=key, attempt=attempt, verdict=Verdict.KEPT, reason="")
        records += (started, ended, judged)
    return [
        Entry(seq=seq, at=AT + timedelta(minutes=seq), boot="b", record=record)
        for seq, record in enumerate(records, 1)
    ]


def test_the_latest_value_is_held_against_limits_of_the_ones_before() -> None:
    seen = reference_now(_plan(), [(freeze(_plan()), lambda: _entries((*FLOWRATES, 40.0)))])
    assert seen.value is not None
    assert (seen.value.latest, seen.value.values) == (40.0, 10)
    assert seen.value.low == pytest.approx(45.8159, abs=5e-4)
    assert seen.value.high == pytest.approx(55.8041, abs=5e-4)


def test_values_of_several_nights_are_put_in_the_order_they_were_measured() -> None:
    whole = _entries((*FLOWRATES, 40.0))
    later = [entry for entry in whole if entry.seq > 9]
    earlier = [entry for entry in whole if entry.seq <= 9]
    frozen = freeze(_plan())
    seen = reference_now(_plan(), [(frozen, lambda: later), (frozen, lambda: earlier)])
    assert seen.value is not None
    assert seen.value.latest == 40.0


@pytest.mark.parametrize(("values", "why"), [((), "never measured"), ((50.0,) * 5, "5 values")])
def test_too_few_values_say_so(values: tuple[float, ...], why: str) -> None:
    seen = reference_now(_plan(), [(freeze(_plan()), lambda: _entries(values))])
    assert seen.value is None
    assert why in seen.why


def test_other_passes_of_the_same_cell_are_no_reference() -> None:
    entries = _entries(FLOWRATES, reference=False)
    assert reference_now(_plan(), [(freeze(_plan()), lambda: entries)]).value is None


def test_another_procedure_has_another_history() -> None:
    other = _plan()
    title = replace(other.titles[0], command=d.Command(argv=("another",), time_limit_s=9.0))
    frozen = freeze(replace(other, titles=(title, *other.titles[1:])))
    assert reference_now(_plan(), [(frozen, lambda: _entries(FLOWRATES))]).value is None
