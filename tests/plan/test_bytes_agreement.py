"""``bytes_per_frame`` for some settings or levels names what there is, and one kind of it."""

from __future__ import annotations

import pytest

from tests.plan.words import checked, codes

PLAN = """\
plan: link
settings: {low: {size: a}, high: {size: b}}
conditions:
  load: {by: command, levels: {few: {}, many: {}}}
  way: {by: command, levels: {one: {}, two: {}}}
titles:
  - title: Copper Fen
    scene: dam
    settings: [low, high]
    command: [fen, "{size}", "{load}", "{way}"]
    frames: {file: f.csv, column: frame_ms, unit: ms}
    bytes_per_frame: SIZES
passes: {keep: 3}
limits: none
"""


def with_sizes(sizes: str) -> str:
    return PLAN.replace("SIZES", sizes)


@pytest.mark.parametrize(
    ("sizes", "kept"),
    [
        ("6 MiB", 6 * 2.0**20),
        ("{many: 256 MiB}", (("many", 256 * 2.0**20),)),
        ("{low: 1 MB, high: 2 MB}", (("low", 1e6), ("high", 2e6))),
    ],
)
def test_a_size_may_stand_for_all_for_levels_or_for_settings(sizes: str, kept: object) -> None:
    plan = checked(with_sizes(sizes)).plan

    assert plan is not None
    assert plan.titles[0].bytes_per_frame == kept


@pytest.mark.parametrize(
    ("sizes", "code"),
    [
        ("{mny: 256 MiB}", "unknown-name"),
        ("{many: 256}", "unit-needed"),
        ("{many: 0 MiB}", "number-too-small"),
        ("{many: 1 MiB, low: 2 MiB}", "mixed-names"),
        ("{many: 1 MiB, one: 2 MiB}", "mixed-names"),
        ("[1 MiB]", "wrong-kind"),
    ],
)
def test_sizes_that_cannot_be_meant_are_refused(sizes: str, code: str) -> None:
    assert codes(with_sizes(sizes)) == [code]


@pytest.mark.parametrize(
    ("levels", "others"),
    [
        pytest.param("many: {}, few: {}", "many: {}, few: {}", id="two conditions have both"),
        pytest.param("many: {}, few: {}", "many: {}, two: {}", id="another has one of them"),
        pytest.param("many: {}, low: {}", "one: {}, two: {}", id="a setting is called so, too"),
    ],
)
def test_a_name_of_two_kinds_would_give_a_cell_two_sizes(levels: str, others: str) -> None:
    names = [each.split(":")[0] for each in levels.split(", ")]
    text = with_sizes(f"{{{names[0]}: 1 MiB, {names[1]}: 2 MiB}}")
    text = text.replace("few: {}, many: {}", levels).replace("one: {}, two: {}", others)
    assert codes(text) == ["mixed-names"]


def test_the_nearest_name_is_told() -> None:
    [problem] = checked(with_sizes("{mny: 256 MiB}")).problems

    assert "names 'mny'" in problem.what
    assert "the nearest is many" in problem.what
