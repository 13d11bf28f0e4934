"""``compare --json`` and ``ceilings --json`` have exactly the fields that schemas.md says."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from harness.plan.document import By, Compare
from harness.store.made_despite import KeptComparison
from harness.summary.ceilings import ceilings
from harness.summary.comparison import Asked, Comparison, compare
from harness.summary.comparison_kept import made_despite
from harness.summary.matching import match
from harness.summary.resampling import of_rows
from harness.views import ceilings as ceilings_view
from harness.views.comparison_json import as_json
from tests.end_to_end.test_schemas import documented, paths
from tests.summary.comparing import a_pass, level, plan, side, title
from tests.views.test_comparison import a_night, two_nights


def everything() -> Comparison:
    """Return a comparison that brings out what a plain one does not: older cells, limits."""
    readings = {"gpu.load": 99.0, "gpu.limited.power": 0.5}
    many = [
        [a_pass(rate * (1.0 + 0.001 * (n % 5)), n, readings=readings) for n in range(1, 10)]
        for rate in (100.0, 110.0)
    ]
    priced = replace(plan(), facts=(("card price", "649 EUR"),))
    cells = [
        side("stock", many[0], run="a", of=priced),
        side("stock", many[1], run="b", of=priced),
        side("stock", many[1], run="b", group=2, current=False),
    ]
    matched = match(cells, base={"run": ("a",)}, against={"run": ("b",)}, where={"way": ("stock",)})
    found = compare(matched, asked=Asked(weights={}))
    [interval] = of_rows([found.rows[0].row], chance=np.random.default_rng(1))
    return replace(found, rows=(replace(found.rows[0], bootstrap=interval),))


def test_compare_has_exactly_the_fields_that_are_documented() -> None:
    wanted = documented("harness.compare/1")
    found_despite = two_nights()
    kept = KeptComparison(
        number=1,
        at=datetime(2026, 11, 3, 9, 0, tzinfo=UTC),
        made=made_despite(
            asked=found_despite.asked, band=found_despite.band, by="Ines", harness="0.1.0",
            selections=found_despite.selections, rows=found_despite.rows,
            differences=found_despite.differences,
        ),
    )  # fmt: skip
    shown = [as_json(each) for each in (a_night(), two_nights(), everything())]
    shown.append(as_json(replace(found_despite, kept=(kept,))))
    shown = json.loads(json.dumps(shown, allow_nan=False))

    found = {path for one in shown for path in paths(one, wanted)}

    assert found == wanted


def test_margins_are_fractions_and_words_are_those_of_the_vocabulary() -> None:
    shown = as_json(a_night())
    rows = shown["rows"]
    assert isinstance(rows, list)

    assert [row["word"] for row in rows] == ["faster", "alike, small but real", "unresolved"]
    ratio = rows[0]["against"]["mean"] / rows[0]["base"]["mean"]
    assert abs(rows[0]["margin"] - (ratio - 1.0)) < 1e-12
    assert rows[2]["passes_needed"] == 14
    assert rows[0]["passes_needed"] is None


def test_ceilings_have_exactly_the_fields_that_are_documented() -> None:
    names = ("s0", "s1", "s2")
    asked = plan(
        title(bytes_per_frame=1e6),
        by=By.OPERATOR,
        settings=names,
        levels=(level("free"), level("narrow", width=8)),
        compare=Compare(),
    )
    cells = [
        side(way, [min(free, top), min(free, top)], of=asked, setting=setting)
        for way, top in (("free", 1e9), ("narrow", 90.0))
        for setting, free in zip(names, (40.0, 200.0, 400.0), strict=True)
    ]
    cells.append(side("narrow", [], of=asked, setting="s0"))
    found = ceilings(cells, condition="way", figure="average_fps", band=0.03)
    assert found is not None
    wanted = documented("harness.ceilings/1")
    others = replace(found, others=(("power", "stock"),))

    shown = ceilings_view.as_json([found, others], figure="average_fps", band=0.03, condition="way")

    assert set(paths(json.loads(json.dumps(shown, allow_nan=False)), wanted)) == wanted


def test_a_ceiling_is_told_with_its_transfer_rate_and_the_published_one() -> None:
    names = ("s0", "s1", "s2")
    asked = plan(
        title(bytes_per_frame=100e6),
        settings=names,
        levels=(level("free"), level("narrow", width=8)),
    )
    cells = [
        side(way, [min(free, top), min(free, top)], of=asked, setting=setting)
        for way, top in (("free", 1e9), ("narrow", 90.0))
        for setting, free in zip(names, (40.0, 200.0, 400.0), strict=True)
    ]
    found = ceilings(cells, condition="way", figure="average_fps", band=0.03)
    assert found is not None

    text = "\n".join(ceilings_view.as_text([found], figure="average_fps", band=0.03))

    # 90 frames of 100 MB a second, of x8 in generation 4: 15.753846 GB/s.
    assert "ceiling at 90 fps" in text
    assert "implied transfer rate 9 GB/s, 57 % of the 15.75 GB/s published for x8" in text
