"""A state as JSON is the state again, after every record of nights with crashes and faults."""

from __future__ import annotations

import json

import pytest

from harness.run.apply import apply
from harness.run.frozen_state import freeze_state, thaw_state
from harness.run.state import Grid, begin
from nights.play import play


@pytest.mark.parametrize("seed", range(0, 60, 10))
def test_a_state_is_the_same_again_after_every_record_of_a_night(seed: int) -> None:
    night = play(seed)
    grid = Grid.of(night.plan)
    state = begin(grid)
    for record in night.records:
        apply(state, record)
        text = freeze_state(state)
        again = thaw_state(text, grid)
        assert again == state
        assert freeze_state(again) == text  # mappings in the same order, too


def test_what_is_taken_up_goes_on_as_the_state_would_have() -> None:
    night = play(11)
    grid = Grid.of(night.plan)
    half = len(night.records) // 2
    state = begin(grid)
    for record in night.records[:half]:
        apply(state, record)
    again = thaw_state(freeze_state(state), grid)
    for record in night.records[half:]:
        assert apply(again, record) == apply(state, record)


@pytest.mark.parametrize("change", ["a field less", "a field more"])
def test_a_state_of_other_fields_is_refused(change: str) -> None:
    grid = Grid.of(play(0).plan)
    values = json.loads(freeze_state(begin(grid)))
    if change == "a field less":
        del values["stay"]
    else:
        values["stays"] = 1
    with pytest.raises(ValueError, match="not the fields of a state"):
        thaw_state(json.dumps(values), grid)
