"""Plans are refused, warned of or taken, and every message reads as in its golden file.

The cases p01 to p58 and what is expected of them come with the job; q01 on are ours, of the
same kinds. ``UPDATE_GOLDEN=1`` writes the golden files anew: the difference is the review.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import PlanError, render
from harness.plan.check import Checked, check
from harness.plan.read import read_plan
from harness.plan.vocabulary import Vocabulary
from tests.plan.words import CLEAN, VOCABULARY, changed, checked, codes, source_of

GOLDEN = Path(__file__).parents[1] / "golden" / "plans"
FILES = sorted(path.name for path in GOLDEN.glob("*.yaml"))

with (GOLDEN / "expected.csv").open(encoding="utf-8", newline="") as _stream:
    EXPECTED = {row["file"]: row for row in csv.DictReader(_stream)}

#: What each message must say: the words of expected.csv as they must turn up in the text.
WORDS = {
    "p05": ["passes", "lines 12 and 14"],
    "p06": ["alias limit"],
    "p07": ["keep", ":12:", "leading zero"],
    "p09": ["tab", "line 6"],
    "p12": ["'warmup'", "nearest is warm_up"],
    "p13": ["line 5", "quote a name that holds a colon"],
    "p15": ["line 8", "control characters", "single quotes"],
    "p17": ["keep", "at least 1"],
    "p18": ["time_limit", ":10:"],
    "p19": ["at_most", "a whole number"],
    "p20": ["at_most", "too large"],
    "p21": ["two documents", "line 14"],
    "p22": ["empty"],
    "p24": ["tag", "line 1"],
    "p26": ["the same title and scene twice", "lines 5 and 12"],
    "p27": ["names equal but for case"],
    "p30": ["control character", "name"],
    "p31": ["UTF-8 is needed (UTF-16 found)"],
    "p34": ["not UTF-8: byte 0xE9", "line 5"],
    "p35": ["command must be a list"],
    "p37": ["no setting 'hihg'", "nearest is high"],
    "p38": ["unit"],
    "p40": ["keep 3 is more than at_most 2"],
    "p42": ["no reading", "nearest is gpu.temperature"],
    "p44": ["a bound is needed"],
    "p45": ["grubbs needs at least 3 passes, and discards from 6 on"],
    "p47": ["no rule", "nearest is grubbs"],
    "p48": ["start", ":15:"],
    "p51": ["unit"],
    "p52": ["say is needed"],
    "p54": ["inside the captures folder"],
    "p56": ["title is too long"],
    "p58": [":9:", ":12:"],
}


def told(name: str) -> str:
    """Return the verdict and all problems of a case, as a person reads them."""
    result = check(source_of((GOLDEN / name).read_bytes(), name), VOCABULARY)
    verdict = "refuse" if result.errors else "warn" if result.warnings else "accept"
    return "\n".join([verdict, *map(render, result.problems), ""])


@pytest.mark.parametrize("name", FILES)
def test_every_message_reads_as_in_its_golden_file(name: str) -> None:
    golden = (GOLDEN / name).with_suffix(".txt")
    if os.environ.get("UPDATE_GOLDEN"):
        golden.write_text(told(name), encoding="utf-8")

    assert told(name) == golden.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", EXPECTED)
def test_a_case_gets_its_verdict_and_its_words(name: str) -> None:
    text = told(name)
    verdict = text.partition("\n")[0]

    assert verdict == EXPECTED[name]["verdict"]
    assert all(words in text for words in WORDS.get(name[:3], []))


def test_settings_stay_the_text_that_was_written() -> None:
    plan = check(read_plan(GOLDEN / "p02_on_off_stay_text.yaml"), VOCABULARY).accepted()

    assert dict(plan.settings[0].values) == {
        "size": "2560x1440",
        "preset": "high",
        "rays": "on",
        "sync": "off",
        "upscale": "no",
        "grain": "yes",
        "letter": "y",
    }


# YAML 1.2.2, section 10.3.2, and the YAML 1.1 type drafts give these plain scalars a type;
# a plan keeps each as the text it is.
TYPED = [
    "on", "off", "yes", "no", "y", "n", "true", "~", "null", "1:30", "16:9", "010", "0o10", "0777",
    "1_000", "0x1F", "0b101", "4.10", "560.70", "1e3", "12e03", ".5", "5.", ".inf", ".nan",
    "+12", "-19", "2024-03-31", "1984", "=",
]  # fmt: skip


@pytest.mark.parametrize("text", TYPED)
def test_a_plain_scalar_keeps_its_text(text: str) -> None:
    plan = checked(changed(("preset: high", f"preset: {text}"))).accepted()

    assert dict(plan.settings[0].values)["preset"] == text


@pytest.mark.parametrize("text", TYPED)
def test_a_title_may_be_called_what_yaml_takes_for_something_else(text: str) -> None:
    plan = checked(changed(("title: Lantern Quay", f"title: {text}"))).accepted()

    assert plan.titles[0].title == text


@pytest.mark.parametrize(
    "text",
    ["010", "0o10", "0x1F", "0b101", "1_000", "1e3", ".5", "5.", ".inf", ".nan", "1:30", "~"],
)
def test_a_count_is_written_in_one_grammar(text: str) -> None:
    assert codes(changed(("keep: 3", f"keep: {text}"))) != []


def test_all_problems_are_reported_at_once_in_file_order() -> None:
    result = checked((GOLDEN / "q57_many_faults.yaml").read_text("utf-8"))
    lines = [problem.place.line for problem in result.problems if problem.place]

    assert [problem.code for problem in result.errors] == [
        "unknown-setting",
        "unit-needed",
        "unknown-word",
        "unknown-key",
        "unknown-word",
    ]
    assert lines == sorted(line for line in lines if line is not None)


SECOND_TITLE = """\
  - title: Basalt Run
    scene: export
    settings: [high]
    command: [basalt-run]
    cut: *cut
    frames: {file: frames.csv, column: 1, unit: us}
"""


def test_a_fault_in_a_shared_part_is_reported_once() -> None:
    text = changed(
        ("cut: {length: 60 s, tolerance: 5 %}", "cut: &cut {length: 60}"),
        ("passes:", SECOND_TITLE + "passes:"),
    )

    assert codes(text) == ["unit-needed"]


def test_a_plan_with_errors_raises_all_of_them_when_it_is_to_be_carried_out() -> None:
    result = checked((GOLDEN / "p58_two_faults_reported.yaml").read_text("utf-8"))

    with pytest.raises(PlanError) as caught:
        result.accepted()

    assert caught.value.problems == result.problems
    assert result.plan is None


def test_a_plan_in_order_has_no_problems() -> None:
    assert checked(CLEAN).problems == ()


def test_merged_parts_give_way_to_what_is_written() -> None:
    text = changed(
        ("    cut: {length: 60 s, tolerance: 5 %}\n", ""),
        ("    time_limit: 3 min\n", "    <<: {time_limit: 5 min, cut: {length: 30 s}}\n"),
        ("    frames:", "    time_limit: 4 min\n    frames:"),
    )
    title = checked(text).accepted().titles[0]

    assert (title.command.time_limit_s, title.cut.length_s) == (240.0, 30.0)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("x", "1:1"),
        ("[]", "1:1"),
        ("a: b: c", "1:5"),
        ("a: [*.csv]", "1:5"),
        ("a: 'x", "1:4"),
        ("a: x\n---\nb: y", "2:1"),
        ("[" * 5000, "1:1001"),
        ("a: !x y", "1:4"),
        ("a: ! y", "1:4"),
        ("? [a]\n: b", "1:3"),
        ("a: [b,\n\n", "1:6"),
        ("a: {b: [", "1:8"),
        ("a: 'x\n\n", "1:4"),
    ],
)
def test_what_is_no_plan_is_refused_at_its_place(text: str, at: str) -> None:
    first = checked(text).errors[0]

    assert str(first.place) == f"plan.yaml:{at}"


LIMITS = ("limits: none", "limits: [{reading: cpu.load, at_most: 100 %}]")


def zoned(zone: str, *known: str) -> Checked:
    """Return what checking a plan in this time zone gives where *known* are all there are."""
    vocabulary = Vocabulary(
        readings=VOCABULARY.readings,
        rules=VOCABULARY.rules,
        zones_instead=lambda name: None if name in known else known,
    )
    night = f'night: {{start: "22:30", end: "07:00", zone: {zone}}}\n'
    return check(source_of(changed(LIMITS, add=night).encode()), vocabulary)


def test_a_time_zone_that_nobody_knows_is_refused_at_its_place() -> None:
    (problem,) = zoned("Europe/lisbon", "Asia/Tokyo", "Europe/Lisbon").errors

    assert (problem.code, problem.do) == ("no-such-zone", "write Europe/Lisbon")
    assert str(problem.place) == "plan.yaml:14:45"


def test_a_time_zone_that_the_system_knows_is_taken() -> None:
    assert zoned("Europe/Lisbon", "Europe/Lisbon").problems == ()


def test_a_system_without_time_zones_warns_and_takes_the_name() -> None:
    result = zoned("Europe/Lisbon")

    assert [(each.code, each.severity) for each in result.problems] == [("no-such-zone", "warning")]
    assert result.plan is not None


@given(st.binary(max_size=300))
def test_no_bytes_make_a_traceback(data: bytes) -> None:
    result = check(source_of(data), VOCABULARY)

    assert result.errors
    assert all(render(problem) for problem in result.problems)


@given(st.data())
def test_no_change_of_a_plan_makes_a_traceback(data: st.DataObject) -> None:
    text = data.draw(
        st.sampled_from([CLEAN, (GOLDEN / "q50_value_named_like_condition.yaml").read_text()])
    )
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 12)))
    put = data.draw(st.text("ab {}[]:,-#&*!|>'\"%@`\t\n\\0123.é\u00a0\u2028\x85", max_size=6))

    result = checked(text[:start] + put + text[end:])

    assert all(render(problem) for problem in result.problems)
    assert (result.plan is None) == bool(result.errors)
