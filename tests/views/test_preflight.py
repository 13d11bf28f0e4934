from __future__ import annotations

from dataclasses import replace

import pytest

from harness.plan import document as d
from harness.rig.bounds import Met
from harness.rig.identity import Identity
from harness.run.findings import Finding, Weight
from harness.views.preflight import as_json, as_text, safety
from harness.views.safety import OPENED_CASE, UNATTENDED
from tests.run.rehearsal import plan
from tests.run.test_preflight import UNTIL

FINDINGS = (
    Finding(check="power", state=Met.MET, what="power source: mains"),
    Finding(
        check="needs",
        state=Met.NOT_MEASURED,
        what="memory.speed must be at least 6000 MT/s; it is not measured: no table",
        do="give the rights to read it",
        weight=Weight.MUST,
        at=d.At(line=4, column=7),
    ),
    Finding(check="restart", state=Met.NOT_MEASURED, what="the installed kernels cannot be told"),
    Finding(check="sleep", state=Met.NOT_MET, what="it goes to sleep", do="let it stay awake"),
    Finding(check="link", state=Met.MET, what="as it idles", weight=Weight.INFORMATION),
)


def text(*findings: Finding, of: d.Plan | None = None, columns: int = 80) -> list[str]:
    whole = of if of is not None else plan()
    return list(as_text(whole, findings, file="p.yaml", until=UNTIL, columns=columns))


def test_what_is_in_the_way_comes_first_with_its_place_and_what_to_do() -> None:
    assert text(*FINDINGS)[1:] == [
        "",
        "In the way:",
        "  not met       sleep      it goes to sleep",
        "                           do: let it stay awake",
        "  not measured  needs      memory.speed must be at least 6000 MT/s; it is not",
        "                           measured: no table",
        "                           p.yaml:4:7",
        "                           do: give the rights to read it",
        "",
        "Not in the way:",
        "  not measured  restart    the installed kernels cannot be told",
        "  met           power      power source: mains",
        "",
        "To know:",
        "                link       as it idles",
        "",
        "1 not met, 2 not measured, 1 met. The rig is NOT ready: 2 of these stand in the way.",
    ]


def test_a_rig_that_is_ready_says_so() -> None:
    assert text(FINDINGS[0])[-1] == "1 met. The rig is ready."


@pytest.mark.parametrize("columns", [20, 60, 80, 300])
def test_no_line_is_wider_than_the_terminal_within_reason(columns: int) -> None:
    widest = max(len(line) for line in text(*FINDINGS, columns=columns)[:-1])
    assert widest <= max(60, min(columns, 110))


def test_words_of_caution_stand_where_a_night_or_a_case_is_in_the_plan() -> None:
    assert safety(plan()) == ()
    night = d.Night(start_minute=1350, end_minute=420, days=("mon",))
    assert safety(replace(plan(), night=night)) == UNATTENDED
    level = d.Level(name="alone", say="Card in the first slot.")
    slot = d.Condition(name="slot", by=d.By.OPERATOR, opens_case=True, levels=(level,))
    opened = replace(plan(), conditions=(slot,))
    assert safety(opened) == (*UNATTENDED, *OPENED_CASE)
    assert any("unplug" in line for line in text(of=opened))


def test_the_object_has_every_finding_and_the_fingerprint() -> None:
    identity = Identity(fields={"gpu.driver": "560.70"}, unread={"disks": "none"})
    shown = as_json(plan(), FINDINGS, until=UNTIL, identity=identity, plan_hash="9f" * 32)
    assert shown["ready"] is False
    assert [each["check"] for each in shown["checks"]] == [f.check for f in FINDINGS]
    assert shown["checks"][1] == {
        "check": "needs",
        "state": "not measured",
        "weight": "must",
        "what": FINDINGS[1].what,
        "do": "give the rights to read it",
        "line": 4,
        "column": 7,
    }
    assert shown["fingerprint"] == {
        "fields": {"gpu.driver": "560.70"},
        "unread": {"disks": "none"},
    }
