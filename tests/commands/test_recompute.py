"""What recompute takes as it was: what reading a capture again cannot undo."""

from __future__ import annotations

import pytest

from harness.commands.recompute import _stands
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.summary.recomputed import AgainPass

KEPT = AgainPass(attempt=3, verdict=Verdict.KEPT, reason="all checks passed", figures=())


def judged(verdict: Verdict, fault: str | None) -> r.PassJudged:
    return r.PassJudged(cell="c", attempt=3, verdict=verdict, reason="as it was", fault=fault)


@pytest.mark.parametrize("fault", ["device-lost", "settings-changed", "level-under-load", "exited"])
def test_a_fault_of_that_moment_stands(fault: str) -> None:
    verdict = Verdict.FAILED if fault == "exited" else Verdict.VOID
    again = _stands(KEPT, judged(verdict, fault))
    assert (again.verdict, again.reason) == (verdict, "as it was")


@pytest.mark.parametrize("fault", ["unreadable-capture", "no-figure", "setting-differs"])
def test_a_fault_of_reading_may_be_undone_by_reading_again(fault: str) -> None:
    assert _stands(KEPT, judged(Verdict.VOID, fault)) is KEPT


def test_a_pass_that_had_no_fault_is_what_it_is_now() -> None:
    assert _stands(KEPT, judged(Verdict.KEPT, None)) is KEPT
