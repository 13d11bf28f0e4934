from __future__ import annotations

import pytest

from harness.plan.document import FigureFrom, Report
from harness.rules.reported import Reported, reported, same

SIZE = Report(name="size", source=FigureFrom.OUTPUT, pattern="x(?P<value>.*)")
PRESET = Report(name="preset", source=FigureFrom.OUTPUT, pattern="x(?P<value>.*)")
ASKED = {"size": "1920x1080", "preset": "high"}


def held(**said: tuple[str, ...]) -> Reported:
    return reported((SIZE, PRESET), asked=ASKED, said=lambda report: said.get(report.name, ()))


def test_what_was_asked_for_and_used_needs_no_word() -> None:
    assert held(size=("1920x1080",), preset=("High ",)) == Reported()


def test_another_value_is_named_beside_the_one_asked_for() -> None:
    found = held(size=("1600x900",), preset=("high",))
    assert found.differs == ("size: asked for '1920x1080', the title used '1600x900'",)


def test_a_value_that_changes_in_mid_pass_differs() -> None:
    assert held(size=("1920x1080", "1600x900", "1600x900"), preset=("high",)).differs == (
        "size: asked for '1920x1080', the title used '1600x900'",
    )


def test_a_title_that_says_nothing_is_unverified_and_not_wrong() -> None:
    found = held(preset=("high",))
    assert (found.differs, found.flags) == ((), ("unverified",))
    assert found.notes == ("unverified: the title did not say which size it used",)


@pytest.mark.parametrize(
    ("text", "wanted", "alike"),
    [
        ("60", "60.0", True),
        ("6e1", "60", True),
        ("61", "60", False),
        ("on", "true", False),
        ("", "0", False),
        ("nan", "nan", True),  # a text like any other
    ],
)
def test_numbers_are_compared_as_numbers_and_texts_as_texts(
    text: str, wanted: str, alike: bool
) -> None:
    assert same(text, wanted) is alike
