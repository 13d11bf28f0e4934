from __future__ import annotations

import re
from pathlib import Path

import pytest

from harness.rig.tasks import EndedBy
from harness.rules.faults import FAULTS, after_a_limit, means, what_to_do

HARNESS = Path(__file__).parents[2] / "harness"

#: ``fault="…"`` and ``held(state, "…"`` wherever a decision is made.
NAMED = re.compile(r"""(?:fault\s*=\s*|held\(\s*(?:state|self\.state),\s*)"([a-z-]+)\"""")


def test_every_fault_that_a_decision_names_is_in_the_table() -> None:
    texts = [path.read_text("utf-8") for path in sorted(HARNESS.glob("ru*/*.py"))]
    named = {name for text in texts for name in NAMED.findall(text)}
    assert {"rig-not-quiet", "gate-gave-up", "level-not-met"} <= named  # the pattern finds some
    assert named <= set(FAULTS)


def test_every_way_a_command_can_fail_has_its_fault() -> None:
    unnamed = {EndedBy.EXIT, EndedBy.TIME_LIMIT}  # exited, timed-out
    assert {by.value for by in EndedBy if by not in unnamed} <= set(FAULTS)


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_a_fault_says_what_it_means_and_what_to_do(name: str) -> None:
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", name)
    assert FAULTS[name].name == name
    for text in (means(name), what_to_do(name)):
        assert text == text.strip()
        assert not text.endswith(".")
        assert text[0].islower()


@pytest.mark.parametrize("advice", [after_a_limit("°C"), what_to_do("level-under-load")])
def test_what_may_open_a_case_comes_with_the_cautions(advice: str) -> None:
    for words in ("cool", "shut down", "unplug", "power button", "discharge"):
        assert words in advice


def test_heat_is_spoken_of_only_after_a_limit_on_a_temperature() -> None:
    assert "hot" in after_a_limit("°C")
    for unit in ("W", "", "%"):
        assert after_a_limit(unit) == what_to_do("limit")
        assert "hot" not in after_a_limit(unit)


def test_a_fault_that_is_not_in_the_table_is_a_bug() -> None:
    with pytest.raises(KeyError):
        what_to_do("no-such-fault")
