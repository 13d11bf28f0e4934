"""Whatever value a store holds, every summary says something clear of it and none fails.

A title that reports its own figures can give any number, and a store may hold one from before
such numbers were refused where they are read. Nothing here is about what is found; each test
works everything out, draws it as text and as JSON, and holds that the numbers in it are numbers.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from harness.plan.canonical import freeze, plan_hash
from harness.plan.cells import cells
from harness.plan.document import DiscardRule, Passes
from harness.rules.believable import LEAST, MOST, believed
from harness.rules.judgement import Figure, Verdict
from harness.rules.looks import RULES
from harness.run.ports import Entry
from harness.store.seen import PassSeen
from harness.summary.ceilings import ceilings
from harness.summary.cells import summarise
from harness.summary.comparison import Asked, compare
from harness.summary.drift import drift
from harness.summary.earlier import earlier
from harness.summary.matching import match
from harness.summary.precision import precision
from harness.summary.recomputed import AgainPass, Decided, Recomputed, decided_again
from harness.summary.resolution import half_width, passes_to_resolve
from harness.summary.series import Per, Wanted, averaged, series
from harness.summary.sides import SideCell, side_cells
from harness.summary.trends import pooled_trend
from harness.summary.unlike import unlike_history
from harness.views import ceilings as ceilings_view
from harness.views import comparison as comparison_view
from harness.views import comparison_json, drift_json, precision_json
from harness.views import drift as drift_view
from harness.views import precision as precision_view
from harness.views import recomputed as recomputed_view
from harness.views import results as results_view
from harness.views.page import pictures
from tests.summary import comparing
from tests.summary.over_nights import FIRST_NIGHT, counted, entries, references
from tests.summary.over_nights import plan as two_cells

#: What was met, what lies at the edge of a float, and everything between.
values = st.one_of(
    st.sampled_from(
        [0.0, -0.0, -5.0, 60.0, 60.1, 1e300, -1e300, 1.7e308, 5e-324, 1e-300, MOST, LEAST, 2e18]
    ),
    st.floats(allow_nan=False, allow_infinity=False),
)
some = settings(max_examples=40, deadline=None)


def several(least: int, most: int) -> st.SearchStrategy[list[float]]:
    return st.lists(values, min_size=least, max_size=most)


def is_json(found: object) -> None:
    json.dumps(found, allow_nan=False)


def on(rig: str, numbers: Sequence[float], *, night: int = 0, run: str = "") -> list[Entry]:
    return entries(
        counted(numbers), run=run or f"{rig}-{night + 1}", rig=rig,
        at=FIRST_NIGHT + timedelta(days=night),
    )  # fmt: skip


def ways(stock: Sequence[float], quiet: Sequence[float]) -> tuple[SideCell, ...]:
    """The cells of a run with two levels, two settings and these passes in each."""
    asked = comparing.plan()
    of_level = {"stock": stock, "quiet": quiet}
    steps = [
        (cell.key, value, False)
        for cell in cells(asked)
        for value in of_level[cell.level("way")]
    ]  # fmt: skip
    return side_cells(entries(steps, of=asked), plan=asked)


@some
@given(several(1, 5), several(1, 5), st.booleans(), st.sampled_from([0.03, 1e-9]))
def test_compare(stock: list[float], quiet: list[float], pool: bool, band: float) -> None:
    matched = match(
        ways(stock, quiet), base={"way": ("stock",)}, against={"way": ("quiet",)}, where={}
    )
    found = compare(matched, asked=Asked(weights={}, pool_spread=pool, band=band))
    assert list(comparison_view.as_text(found, width=100))
    is_json(comparison_json.as_json(found))


@some
@given(several(1, 4), several(1, 4))
def test_ceilings(stock: list[float], quiet: list[float]) -> None:
    found = ceilings(ways(stock, quiet), condition="way", figure="average_fps", band=0.03)
    if found is None:
        return
    assert list(ceilings_view.as_text([found], figure="average_fps", band=0.03))
    told = ceilings_view.as_json([found], figure="average_fps", band=0.03, condition="way")
    is_json(told)
    pictures.ceilings(told["titles"][0], condition="way")  # type: ignore[index]


@some
@given(several(1, 24), st.booleans(), st.sampled_from([*Per]))
def test_drift(numbers: list[float], handbook: bool, per: Per) -> None:
    changes = {len(numbers) // 2: {"gpu.driver": "580.00"}}
    run = entries(references(numbers), changes=changes)
    wanted = Wanted(reference=True, figure=lambda plan, cell: "average_fps")
    charts = [
        drift(averaged(each, per=per), handbook=handbook)
        for each in series([(two_cells(), run)], wanted=wanted)
    ]
    list(drift_view.as_text(charts, apart={}, last=None, width=100))
    told = drift_json.as_json(
        charts, apart={}, per=per, weight=0.2, reach=3.0, handbook=handbook, not_read=[]
    )
    is_json(told)
    for each in told["series"]:  # type: ignore[attr-defined]
        pictures.drift(each)


@some
@given(st.lists(several(1, 3), min_size=1, max_size=8))
def test_precision(rigs: list[list[float]]) -> None:
    runs = [
        on(f"rig-{n}", [*numbers, *more], night=night)
        for n, numbers in enumerate(rigs)
        for night, more in enumerate(([], [60.0]))
    ]
    plan = two_cells()
    found = precision(
        [side for run in reversed(runs) for side in side_cells(run, plan=plan)],
        histories=series(
            [(plan, run) for run in runs],
            wanted=Wanted(reference=False, figure=lambda plan, cell: "average_fps"),
        ),
    )
    assert list(precision_view.as_text(found, width=100))
    is_json(precision_json.as_json(found))


@some
@given(several(1, 8), st.lists(several(1, 4), max_size=4))
def test_results_and_what_is_usual(numbers: list[float], before: list[list[float]]) -> None:
    plan = two_cells()
    found = summarise(on("north-2", numbers), plan=plan)
    assert results_view.as_table(found, low="percentile", store="here")
    is_json(results_view.as_json(found))
    key = found[-1].cell.key
    sound = [[x for x in own if LEAST <= abs(x) <= MOST] for own in before]
    unlike_history(plan, found, {key: [own for own in sound if own]})


@some
@given(several(2, 8), st.sampled_from(sorted(RULES)))
def test_recompute(numbers: list[float], rule: str) -> None:
    [*_, summary] = summarise(on("north-2", numbers), plan=two_cells())
    passes = [
        AgainPass(attempt=n, verdict=Verdict.KEPT, reason="…", figures=(figure,))
        for n, number in enumerate(numbers, start=1)
        if (figure := _believed(number)) is not None
    ]
    rules = [
        DiscardRule(rule=rule, on="average_fps", at_most=1, more_than=0.03, alpha=0.05, least=3)
    ]
    own = replace(two_cells(), passes=Passes(keep=3, at_most=8))
    new = decided_again(passes, rules=rules, plan=own, cell=summary.cell)
    again = Recomputed(
        run=summary.run, rig=summary.rig, cell=summary.cell, group=summary.group,
        old=Decided(state=summary.state, verdicts=tuple(
            (each.attempt, "kept", "") for each in passes
        ), figures=summary.figures), new=new,
    )  # fmt: skip
    assert list(
        recomputed_view.as_text([again], old_low="percentile", new_low="percentile", rules=[])
    )
    is_json(recomputed_view.as_json([again]))
    pooled_trend([[(n, each.figures[0].value or 0.0) for n, each in enumerate(passes)]])


@some
@given(st.lists(several(1, 5), min_size=1, max_size=4), st.integers(2, 6))
def test_what_a_rehearsal_reads_of_earlier_runs(before: list[list[float]], keep: int) -> None:
    plan = two_cells()
    key = cells(plan)[0].key
    seen = [
        PassSeen(cell=key, group=(n, 0), seconds=60.0, kept=True, command_s=60.0,
                 figures=(("average_fps", value),))
        for n, own in enumerate(before)
        for value in own
        if _believed(value) is not None
    ]  # fmt: skip
    found = earlier(plan, [(plan_hash(plan), freeze(plan), lambda: seen)])
    for spread in found.spreads.values():
        assert math.isfinite(half_width(spread.sd, keep))
        passes_to_resolve(spread.sd, 0.03)


def _believed(value: float) -> Figure | None:
    figure = Figure(
        name="average_fps", value=value, unit="fps", definition="frames-over-time/1", why=None
    )
    [found] = believed([figure])
    return None if found.value is None else found
