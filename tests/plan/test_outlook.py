"""What a plan amounts to, worked out by hand for small plans."""

from __future__ import annotations

from harness.plan.outlook import Outlook, outlook
from tests.plan.test_build import EXAMPLE
from tests.plan.words import changed, checked


def of(text: str) -> Outlook:
    values = checked(text).values
    assert values is not None
    return outlook(values)


def test_the_example_is_as_large_as_it_is() -> None:
    size = of(EXAMPLE)

    # Lantern Quay at two settings and Basalt Run at one, under two slots and two power limits.
    assert (size.titles, size.settings, size.levels, size.cells) == (2, 2, 4, 12)
    assert size.counted == 12 * 6
    assert size.warm_ups == 12 * 2  # one in each of two visits
    assert size.passes == 96
    assert size.steps == (
        (("slot", "alone"),),
        (("slot", "shared"),),
        (("slot", "alone"),),
        (("slot", "shared"),),
    )
    assert size.opens_case == 4
    assert size.bounded == ("Basalt Run",)
    # 8 cells of 65 s, 4 of at most 20 min, 10 s at a gate, 8 passes each; 4 times settling.
    assert size.seconds == 8 * 8 * (65 + 10) + 4 * 8 * (1200 + 10) + 4 * 300


def test_a_scene_of_known_length_takes_that_long() -> None:
    size = of(changed())

    assert (size.seconds, size.bounded) == (4 * 60.0, ())


def test_a_title_without_a_length_takes_its_time_limit_at_most() -> None:
    size = of(changed(("    cut: {length: 60 s, tolerance: 5 %}\n", "")))

    assert (size.seconds, size.bounded) == (4 * 180.0, ("Lantern Quay",))


def test_a_warm_up_at_launch_is_made_once_whatever_the_visits() -> None:
    order = "order: {visits: 3}\n"
    once = of(changed(("warm_up: 1", "warm_up: {passes: 2, when: [launch]}"), add=order))
    each = of(changed(("warm_up: 1", "warm_up: {passes: 2, when: [visit]}"), add=order))

    assert (once.warm_ups, each.warm_ups) == (2, 6)


def test_one_level_is_set_once_and_not_again() -> None:
    slot = "conditions: {slot: {by: operator, levels: {a: {say: Use the first slot.}}}}\n"

    assert of(changed(add=slot + "order: {visits: 3}\n")).steps == ((("slot", "a"),),)


def test_earlier_passes_say_how_long_a_title_takes() -> None:
    values = checked(EXAMPLE).values
    assert values is not None

    size = outlook(values, earlier={("Basalt Run", "export"): (30.0, 40.0)})

    # 4 cells of Basalt Run: those two, and two more that take the mean of the two.
    assert size.seconds == 8 * 8 * (65 + 10) + 8 * 4 * 35.0 + 4 * 300
    assert (size.seen, size.bounded, size.scenes) == (("Basalt Run",), (), 1)
