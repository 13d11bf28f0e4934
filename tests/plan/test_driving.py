"""The keys that drive a title: what they become, and what is refused of them."""

from __future__ import annotations

import pytest

from harness.plan import document as d
from harness.plan.canonical import freeze, procedure_hash, thaw
from harness.plan.cells import cells
from harness.plan.check import Checked, check
from harness.plan.parse import parse
from harness.wiring import vocabulary

PLAN = """\
plan: night
settings:
  fhd: {size: 1920x1080, preset: high}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [fhd]
    command: [lantern-quay]
    time_limit: 3 min
    frames: {file: frames.csv, column: frame_ms, unit: ms}
KEYS
passes: {warm_up: 1, keep: 2, at_most: 3}
limits: none
"""


def codes(keys: str) -> list[str]:
    return [problem.code for problem in checked(keys).problems]


def checked(keys: str) -> Checked:
    text = PLAN.replace("KEYS", "\n".join(f"    {line}" for line in keys.splitlines()))
    return check(parse(text, "night.yaml"), vocabulary())


def title(keys: str) -> d.Title:
    plan: d.Plan = checked(keys).accepted()
    assert thaw(freeze(plan)) == plan
    return plan.titles[0]


def test_files_are_put_watched_and_given_back_unless_the_plan_says_otherwise() -> None:
    found = title("files: {put: {'lab/{preset}.ini': conf/quay.ini}, watch: [conf/quay.ini]}")
    assert found.files == d.Files(
        put=(("lab/{preset}.ini", "conf/quay.ini"),), watch=("conf/quay.ini",), give_back=True
    )
    kept = title("files: {put: {a.ini: b.ini}, give_back: false}").files
    assert kept is not None
    assert not kept.give_back


def test_a_recorder_has_a_time_to_end_in() -> None:
    short = title("recorder: [frame-log, '{captures}/frames.csv']").recorder
    assert short == d.Command(argv=("frame-log", "{captures}/frames.csv"), time_limit_s=30.0)
    long = title("recorder: {command: [frame-log], time_limit: 2 min}").recorder
    assert long == d.Command(argv=("frame-log",), time_limit_s=120.0)


def test_what_lives_on_and_how_long_silence_may_last() -> None:
    found = title("alive: {program: lantern-quay}\nsilent_after: 60 s\nstill_after: 90 s")
    assert (found.alive, found.silent_after_s, found.still_after_s) == ("lantern-quay", 60.0, 90.0)


def test_a_report_names_what_it_is_held_against() -> None:
    found = title(r"reports: {size: {from: output, pattern: 'at (?P<value>\S+)'}}").reports
    assert found == (
        d.Report(name="size", source=d.FigureFrom.OUTPUT, pattern=r"at (?P<value>\S+)"),
    )


@pytest.mark.parametrize(
    ("keys", "code"),
    [
        ("files: {give_back: true}", "key-missing"),
        ("files: {watch: [a.ini], give_back: true}", "unused-key"),
        ("files: {put: {a.ini: c.ini, b.ini: c.ini}}", "put-twice"),
        ("files: {put: {a.ini: a.ini}}", "put-on-itself"),
        ("files: {put: {'{presett}.ini': a.ini}}", "unknown-placeholder"),
        ("files: {watch: ['{presett}.ini']}", "unknown-placeholder"),
        ("files: {watch: []}", "empty-list"),
        ("alive: lantern-quay", "wrong-kind"),
        ("alive: {}", "key-missing"),
        ("recorder: frame-log", "wrong-kind"),
        ("recorder: [frame-log, '{capture}']", "unknown-placeholder"),
        ("recorder: {command: [frame-log], time_limit: 30}", "unit-needed"),
        ("silent_after: 60", "unit-needed"),
        ("silent_after: 4 min", "never-reached"),
        ("reports: {sise: {from: output, pattern: '(?P<value>x)'}}", "report-of-nothing"),
        ("reports: {size: {from: output}}", "key-missing"),
        ("reports: {size: {from: json, pattern: '(?P<value>x)'}}", "key-missing"),
        ("reports: {size: {from: wall_time}}", "unknown-word"),
    ],
)
def test_what_cannot_be_meant_is_reported(keys: str, code: str) -> None:
    assert code in codes(keys)


def _procedure(keys: str) -> str:
    plan = checked(keys).accepted()
    return procedure_hash(plan, cells(plan)[0], definitions="1")


def test_only_what_can_move_a_number_is_part_of_the_procedure() -> None:
    plain = _procedure("collect: [x.csv]")
    moves = [
        "files: {put: {a.ini: b.ini}}",
        "files: {put: {a.ini: c.ini}}",
        "alive: {program: quay}",
        "recorder: [frame-log]",
    ]
    found = {_procedure(f"collect: [x.csv]\n{keys}") for keys in moves}
    assert len(found | {plain}) == len(moves) + 1
    for keys in (
        "files: {watch: [b.ini]}",
        "silent_after: 60 s",
        "still_after: 60 s",
        "reports: {size: {from: output, pattern: '(?P<value>x)'}}",
    ):
        assert _procedure(f"collect: [x.csv]\n{keys}") == plain
    with_limit = "collect: [x.csv]\nrecorder: {command: [frame-log], time_limit: 9 s}"
    assert _procedure(with_limit) == _procedure("collect: [x.csv]\nrecorder: [frame-log]")
