"""The table of transitions is whole, and its picture is drawn from it."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from harness.run import records as r
from harness.run.apply import _EFFECTS, apply
from harness.run.state import begin
from harness.run.transitions import TRANSITIONS, IllegalTransition, Phase
from state_table import BEGIN, END, table
from tests.run.rehearsal import plan

ROOT = Path(__file__).resolve().parents[2]
KINDS = get_args(r.Record)


def test_every_phase_has_its_line() -> None:
    assert set(TRANSITIONS) == set(Phase)


def test_every_kind_of_record_may_come_in_some_phase() -> None:
    assert {kind for line in TRANSITIONS.values() for kind in line} == set(KINDS)


def test_every_kind_of_record_has_an_effect() -> None:
    assert set(_EFFECTS) == set(KINDS)


def test_every_phase_can_be_reached() -> None:
    reached, ahead = {Phase.NEW}, [Phase.NEW]
    while ahead:
        for after in TRANSITIONS[ahead.pop()].values():
            if after not in reached:
                reached.add(after)
                ahead.append(after)
    assert reached == set(Phase)


def test_a_record_the_table_does_not_list_is_refused_with_what_it_allows() -> None:
    state = begin(plan())
    state.phase = Phase.PASS
    with pytest.raises(IllegalTransition, match="allows only PassEnded"):
        apply(state, r.RunPaused(reason="told to stop"))


def test_a_pass_can_start_only_while_nothing_else_goes_on() -> None:
    allowed = {phase for phase, line in TRANSITIONS.items() if r.PassStarted in line}
    assert allowed == {Phase.IDLE}


def test_the_picture_in_the_contributors_page_is_drawn_from_the_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    drawn = text[text.index(BEGIN) + len(BEGIN) : text.index(END)].strip()
    assert drawn == table().strip(), "run python scripts/state_table.py"
