"""A number that goes on beside what a pattern took is told from one that is whole."""

from __future__ import annotations

import re

import pytest

from harness.rules.going_on import goes_on

SCORE = r"score\D*?(?P<value>[0-9.]+)"


def whole(text: str, pattern: str = SCORE) -> str | None:
    match = re.search(pattern, text)
    assert match is not None
    return goes_on(pattern, text, match.start("value"), match.end("value"))


@pytest.mark.parametrize(
    "number",
    [
        "1,234.5",
        "1234,5",
        "1'234",
        "1\N{RIGHT SINGLE QUOTATION MARK}234",
        "1_234",
        "1 234",
        "1 234 567",
        "1\N{NO-BREAK SPACE}234",
        "1\N{NARROW NO-BREAK SPACE}234.5",
        "1.5e3",
        "1.5E+3",
        "1.5×10^3",
        "1.5 x 10^3",
        "1:23.4",
        "0x1F",
        "-5",
        "\N{MINUS SIGN}5",
    ],
)
def test_a_number_that_goes_on_is_shown_whole(number: str) -> None:
    assert whole(f"score = {number} points") == number


@pytest.mark.parametrize(
    "text",
    [
        "score = 12.5, 13 frames",
        "score = 12, best of 3",
        "score = 12.",
        "score = 60 fps, 144 Hz",
        "score = 60.5 144",
        "score = 1234 567",
        "score = 60 2026",
        "score = 60  144",
        "score = 60\t144",
        "score = 60\n144",
        "score = 1920x1080",
        "score.....5",
        "score (5)",
        "score: 5e",
    ],
)
def test_what_follows_a_whole_number_is_no_part_of_it(text: str) -> None:
    assert whole(text) is None


@pytest.mark.parametrize(
    ("text", "number"), [("1,234.5 points", "1,234.5"), ("total 1 234 points", "1 234")]
)
def test_a_number_whose_beginning_is_left_out_is_shown_whole(text: str, number: str) -> None:
    assert whole(text, r"(?P<value>[0-9.]+) points") == number


def test_what_a_greedy_wildcard_ate_of_a_number_is_seen() -> None:
    assert whole("total 71.25 points", r".*(?P<value>[0-9.]+) points") == "71.25"


def test_a_time_of_the_day_is_no_thousand_of_the_number_behind_it() -> None:
    assert whole("22:15:09 600 points", r"(?P<value>[0-9.]+) points") is None


@pytest.mark.parametrize(
    ("text", "pattern"),
    [
        ("fps,60.5,144", r"fps,(?P<value>[0-9.]+),[0-9]"),
        ("fps,12,60.5", r"[0-9]+,(?P<value>[0-9.]+)$"),
        ("run 3:60.5", r"run \d+:(?P<value>[0-9.]+)"),
        ("60 144", r"(?P<value>[0-9]+) \d+"),
        ("score-60", r"score-(?P<value>[0-9.]+)"),
        ("avg 1.5,60", r"[\d.]+,(?P<value>[0-9.]+)"),
        ("avg 1.5,60", r"(?:avg )([.\d]+),(?P<value>[0-9.]+)"),
        ("avg 1,60", r"avg (?P<value>[0-9.]+),[.\d]+"),
        ("frames 12 500 ms", r"\d+\s+(?P<value>\d+)"),
        ("frames 12 500 ms", r"\d+\s(?P<value>\d+)"),
        ("frames 12 500 ms", r"[\d.]{1,3} +(?P<value>\d+)"),
        ("frames 12 500 ms", r"(?P<value>\d+) +\d"),
        ("frames 12 500 ms", r"(?P<value>\d+)[ \t](?:\d+) ms"),
    ],
)
def test_a_pattern_may_say_that_another_number_stands_beside(text: str, pattern: str) -> None:
    assert whole(text, pattern) is None


@pytest.mark.parametrize(
    ("number", "pattern"),
    [
        ("1,234", r"(?P<value>[0-9]+)[.,][0-9]"),
        ("1.5", r"(?P<value>[0-9]+).[0-9]"),
        ("1 234", r"(?P<value>[0-9]+)\D[0-9]"),
        ("1 234", r"(?P<value>\d)\s*\d+"),
        ("1\N{NARROW NO-BREAK SPACE}234", r"(?P<value>[0-9]+)\s[0-9]"),
        ("1 234", r"\w+ (?P<value>[0-9]{3})"),
        ("1,234", r"(?:[a-z]+|[0-9]+,)(?P<value>[0-9]+)"),
        ("1,234", r"([0-9]+,)?\b(?P<value>[0-9]+)$"),
        ("-5", r"[+-](?P<value>[0-9]+)"),
    ],
)
def test_what_takes_a_numbers_own_mark_as_well_does_not_say_that_another_stands_there(
    number: str, pattern: str
) -> None:
    assert whole(number, pattern) == number


@pytest.mark.parametrize(
    "pattern", [r"(?P<value>[0-9.]+),", r"(?P<value>[0-9.]+).*", r"(?P<value>[)0-9(.]+),\S"]
)
def test_a_mark_alone_does_not_say_that_another_number_begins(pattern: str) -> None:
    assert whole("1,234.5", pattern) == "1,234.5"
