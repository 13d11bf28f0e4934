"""A pattern is looked for within a time, and without a process where none is needed."""

from __future__ import annotations

import subprocess

import pytest

from harness.rules import finding
from harness.rules.finding import Found, TooLong, found, never_goes_back

ADVISED = r"score\s*=\s*(?P<value>[0-9.]+)"
NESTED = r"(?P<value>(a+)+)$"
HANGS = "a" * 41 + "b"


@pytest.fixture
def no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise AssertionError("a process was started")

    monkeypatch.setattr(subprocess, "Popen", refused)


def test_a_pattern_that_tries_for_ever_is_broken_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(finding, "SEARCH_S", 0.3)
    with pytest.raises(TooLong):
        found(NESTED, HANGS)


@pytest.mark.usefixtures("no_process")
@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (ADVISED, "score = 71.25\n"),
        (r"^fps: (?P<value>\S+) avg", "fps: 71.25 avg"),
        (r"\[\s*(?P<value>\d+\.\d{2})\s*\]", "[ 71.25 ]"),
    ],
)
def test_a_plain_pattern_over_a_short_text_starts_no_process(pattern: str, text: str) -> None:
    assert found(pattern, text) == (Found(text="71.25"),)


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (r"score.*(?P<value>7[0-9.]+)", "score = 71.25"),
        (ADVISED, "score = 71.25\n" + "frame\n" * 20_000),
    ],
)
def test_a_process_finds_the_same(pattern: str, text: str) -> None:
    assert found(pattern, text) == (Found(text="71.25"),)


def test_a_process_tells_a_number_that_goes_on() -> None:
    assert found(r"score.*= (?P<value>1)", "score = 1\N{NARROW NO-BREAK SPACE}234") == (
        Found(text="1", whole="1\N{NARROW NO-BREAK SPACE}234"),
    )


def test_what_is_printed_again_and_again_is_found_once() -> None:
    assert found(ADVISED, "score = 5\n" * 9_000) == (Found(text="5"),)


@pytest.mark.parametrize(
    "pattern",
    [
        NESTED,
        r"(?P<value>a*)*",
        r"(?P<value>a*a*)",
        r"(?P<value>a+)b?a",
        r"(?P<value>a)\1*",
        r"(?P<value>a|aa)+",
        r"(?i)(?P<value>a+)A",
        r"(?P<value>a{1,9})a",
        r"(?P<value>[^x]+)a",
        r".*(?P<value>a)",
        r"(?P<value>a+?)a",
    ],
)
def test_a_pattern_that_may_have_to_go_back_is_not_looked_for_here(pattern: str) -> None:
    assert not never_goes_back(pattern, "aaaaaaaab")


def test_what_a_repeat_shares_with_its_follower_counts_only_where_the_text_has_it() -> None:
    pattern = r"(?P<value>[a-f]+)[f-h]"
    assert never_goes_back(pattern, "abcg")
    assert not never_goes_back(pattern, "abfg")
