"""What a run shows over all its cells becomes flags and lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from harness.plan.document import DiscardRule
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.summary.cells import summarise
from harness.summary.signs import Signs, signs
from harness.views.signs import signs_json, signs_lines
from tests.summary.test_cells import ONE, PLAN, START, TWO, a_pass, entries


def passes(
    cell: str, rates: Sequence[float], *, void: int = 0, verdict: Verdict = Verdict.KEPT
) -> tuple[r.Record, ...]:
    made: tuple[r.Record, ...] = ()
    for attempt, rate in enumerate(rates, start=1):
        made += a_pass(attempt, rate, cell=cell, verdict=verdict)
    for attempt in range(len(rates) + 1, len(rates) + void + 1):
        made += a_pass(attempt, None, cell=cell, verdict=Verdict.VOID)
    return made


def shown(*records: r.Record) -> Signs:
    return signs(entries([*START, *records]), plan=PLAN)


def flags(*records: r.Record) -> list[tuple[str, ...]]:
    return [each.flags for each in summarise(entries([*START, *records]), plan=PLAN)]


def test_passes_that_are_like_the_one_before_are_flagged_and_told() -> None:
    waves = [100.0, 100.5, 101.0, 101.2, 100.9, 100.4, 99.8, 99.2, 98.9, 99.3, 99.8, 100.2]
    records = (*passes(ONE, waves), *passes(TWO, [0.5 * rate for rate in waves]))

    assert flags(*records) == [("passes-follow",), ("passes-follow",)]
    [line] = [each for each in signs_lines(shown(*records)) if each.startswith("passes-follow")]
    assert "over 2 cells and 24 passes" in line
    told = signs_json(shown(*records))
    assert told["frequent"] is None
    of_figure = told["following"]
    assert isinstance(of_figure, dict)
    assert set(of_figure["average_fps"]) == {"cells", "passes", "likeness", "z", "p", "flagged"}


def test_discards_from_too_many_cells_are_flagged_and_told() -> None:
    rule = DiscardRule(rule="spread", on="average_fps", more_than=0.03)
    made: tuple[r.Record, ...] = ()
    for cell in (ONE, TWO):
        made += passes(cell, [*STEADY, 90.0])
        made += (
            r.PassDiscarded(
                cell=cell, attempt=7, rule="spread/1", on="average_fps", statistic=0.1,
                critical=0.03, passes=7, discarded=True, reason="…",
            ),
        )  # fmt: skip
    found = signs(entries([*START, *made]), plan=replace(PLAN, discard=(rule,)))

    assert [of_cell for of_cell in found.flags.values() if "discards-frequent" in of_cell] == [
        ("discards-frequent",),
        ("discards-frequent",),
    ]
    [line] = [each for each in signs_lines(found) if each.startswith("discards-frequent")]
    assert "2 of 2 cells lost a pass to a rule, at most 0.01 would" in line
    frequent = signs_json(found)["frequent"]
    assert isinstance(frequent, dict)
    assert set(frequent) == {"cells", "lost", "expected", "p", "flagged"}


FALLING = [100.0, 99.5, 99.1, 98.6, 98.0, 97.6]
STEADY = [100.0, 99.5, 100.3, 99.8, 100.1, 99.9]


def test_cells_that_slow_down_together_are_all_flagged() -> None:
    records = (*passes(ONE, FALLING), *passes(TWO, [0.5 * rate for rate in FALLING]))
    assert flags(*records) == [("trend",), ("trend",)]
    (line,) = signs_lines(shown(*records))
    # By hand: S = 2 x 15, its variance 2 x 28.33, z = 29 / 7.528 = 3.852.
    assert line == (
        "trend: average_fps falls by 0.49 % from attempt to attempt (95 % interval -0.51 to "
        "-0.47 %; pooled Mann-Kendall over 2 cells and 12 passes, p = 0.00012): does the rig "
        "heat up?"
    )


def test_a_discard_does_not_hide_the_trend() -> None:
    records = (*passes(ONE, FALLING), *passes(TWO, FALLING))
    gone = r.PassDiscarded(
        cell=ONE, attempt=1, rule="spread/1", on="average_fps", statistic=0.03, critical=0.02,
        passes=6, discarded=True, reason="…",
    )  # fmt: skip
    assert shown(*records, gone).trends == shown(*records).trends


def test_steady_cells_show_nothing() -> None:
    records = (*passes(ONE, STEADY), *passes(TWO, STEADY))
    assert flags(*records) == [(), ()]
    assert signs_lines(shown(*records)) == []


def test_a_cell_on_two_levels_is_flagged_and_called_unresolved() -> None:
    records = (*passes(ONE, [60.0, 62.1, 60.1, 62.0, 59.9, 62.05]), *passes(TWO, STEADY))
    assert flags(*records) == [("two-levels",), ()]
    (line,) = signs_lines(shown(*records))
    assert line == (
        "two-levels: the kept passes of 1 cell lie on two levels, of which no rule makes one "
        "number: unresolved"
    )


def test_a_level_that_loses_its_passes_is_flagged() -> None:
    records = (*passes(ONE, STEADY, void=12), *passes(TWO, [*STEADY, *STEADY]))
    found = flags(*records)
    assert found == [("voids-uneven",), ("voids-uneven",)]
    (line,) = signs_lines(shown(*records))
    assert line.startswith("voids-uneven: workers one: 12 of 18 passes void, at the other levels 0")


def test_few_voids_are_called_too_few() -> None:
    records = (*passes(ONE, STEADY, void=1), *passes(TWO, STEADY))
    assert flags(*records) == [(), ()]
    assert [line.rpartition(": ")[2] for line in signs_lines(shown(*records))] == [
        "too few to tell whether that is uneven"
    ] * 2


def test_warm_ups_and_failed_passes_are_no_voids() -> None:
    records = passes(ONE, STEADY)
    failed = a_pass(7, None, cell=ONE, verdict=Verdict.FAILED)
    warm_up = a_pass(8, None, cell=ONE, warm_up=True, verdict=Verdict.VOID)
    found = shown(*records, *failed, *warm_up, *passes(TWO, STEADY))
    assert [(each.void, each.judged) for each in found.voids] == [(0, 6), (0, 6)]


def test_groups_are_cells_of_their_own_in_a_trend() -> None:
    # Another fingerprint at another rate is no trend.
    records: tuple[r.Record, ...] = passes(ONE, [100.0, 100.2, 99.9])
    records += (r.GroupOpened(group=2, fields=(("os.build", "2"),)),)
    for attempt, rate in enumerate((50.0, 50.2, 49.9), start=4):
        records += a_pass(attempt, rate, cell=ONE, group=2)
    found = shown(*records).trends["average_fps"]
    assert found.cells == 2
    assert not found.there


def test_a_run_without_passes_shows_nothing() -> None:
    assert shown() == Signs()


def test_what_is_shown_can_be_written_as_json() -> None:
    made = signs_json(shown(*passes(ONE, FALLING, void=1), *passes(TWO, FALLING)))
    trends, voids = made["trends"], made["voids"]
    assert isinstance(trends, dict)
    assert isinstance(voids, list)
    assert trends["average_fps"]["flagged"] is True
    assert [each["balance"] for each in voids] == ["too few to tell"] * 2
