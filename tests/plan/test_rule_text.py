from __future__ import annotations

import pytest

from harness.errors import AskedError
from harness.plan.rule_text import rules_of
from harness.wiring import vocabulary
from tests.run.rehearsal import plan


def test_a_rule_is_read_with_or_without_its_braces() -> None:
    texts = ["rule: spread, on: average_fps, more_than: 2 %"]
    bare = rules_of(texts, plan(), vocabulary=vocabulary())
    braced = rules_of([f"{{{texts[0]}}}"], plan(), vocabulary=vocabulary())
    assert [(x.rule, x.on, x.more_than) for x in bare] == [("spread", "average_fps", 0.02)]
    assert [(x.rule, x.on, x.more_than) for x in braced] == [("spread", "average_fps", 0.02)]


def test_none_is_no_rule_at_all() -> None:
    assert rules_of(["none"], plan(), vocabulary=vocabulary()) == ()


@pytest.mark.parametrize("text", ["rule: sprad", "rule: spread, on: nothing", "]", "rule: spread}"])
def test_what_is_no_rule_is_told_without_a_place_in_a_file_nobody_wrote(text: str) -> None:
    with pytest.raises(AskedError) as raised:
        rules_of([text], plan(), vocabulary=vocabulary())
    assert all(problem.place is None for problem in raised.value.problems)
