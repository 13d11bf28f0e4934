"""What `harness run` shows of a person's step, in a terminal and elsewhere."""

from __future__ import annotations

import dataclasses
import io
from datetime import UTC, datetime

import pytest

from harness.plan import document as d
from harness.rig.tasks import CommandEnd, EndedBy
from harness.rules.judgement import HarnessCost, Verdict
from harness.run import instructions as i
from harness.run import records as r
from harness.run.apply import fold
from harness.run.state import RunState, begin
from harness.views.live import LiveView, PlainView, View
from harness.views.progress import still_s
from harness.views.safety import confirm_hint
from tests.plan.words import VOCABULARY, source_of
from tests.run.rehearsal import plan

PLAN = b"""\
plan: two slots
conditions:
  slot: {by: operator, levels: {upper: {say: Upper slot.}, lower: {say: Lower slot.}}}
settings: {fhd: {size: 1920x1080}}
titles:
  - title: Copper Fen
    scene: causeway
    settings: [fhd]
    command: [fen, "{captures}/frames.csv", "{slot}"]
    time_limit: 20 s
    frames: {file: frames.csv, column: frame_ms, unit: ms}
passes: {keep: 2}
limits: none
"""

STEP = r.StepAsked(
    step=3,
    levels=(("slot", "upper"),),
    say=("Upper slot.",),
    opens_case=True,
    reboot=False,
    boot="b",
)


def at_the_door() -> RunState:
    from harness.plan.check import check

    started = r.RunStarted(
        run="two-slots-1", plan="", plan_hash="", plan_file="", rig="", harness=""
    )
    return fold(begin(check(source_of(PLAN, "plan.yaml"), VOCABULARY).accepted()), [started])


def view_of(name: str, out: io.StringIO, store: str | None) -> View:
    def now() -> datetime:
        return datetime(2026, 11, 2, 22, 30, tzinfo=UTC)

    if name == "plain":
        return PlainView(out, now=now, store=store)
    return LiveView(out, now=now, steady_s=lambda: 0.0, store=store)


@pytest.mark.parametrize("name", ["plain", "live"])
def test_a_step_is_shown_with_the_whole_command_that_confirms_it(name: str) -> None:
    out = io.StringIO()
    view_of(name, out, "/data/night store").kept(at_the_door(), STEP)
    assert (
        "  When it is done: harness confirm --step 3 --by YOUR-NAME --attending --run two-slots-1"
        " --store '/data/night store'\n" in out.getvalue()
    )
    assert "unplug" in out.getvalue()


def test_the_usual_store_needs_no_name() -> None:
    hint = confirm_hint(step=3, run="two-slots-1", store=None)
    assert hint == "harness confirm --step 3 --by YOUR-NAME --run two-slots-1"


@pytest.mark.parametrize(
    ("frames", "told"), [(320, "(320 frames, 2.2 s, harness cost not measured)"), (None, "(2.2 s)")]
)
def test_a_line_of_a_pass_that_gives_no_cost_stays_short(frames: int | None, told: str) -> None:
    out = io.StringIO()
    view, state = view_of("plain", out, None), at_the_door()
    cell = next(iter(state.grid.cells))
    why = "3 looks at the rig in the pass, and 5 are the least"
    cost = HarnessCost(definition="frames-around-looks/1", looks=0, why=why)
    end = CommandEnd(argv=("fen",), by=EndedBy.EXIT, wall_s=2.2, status=0)
    view.kept(state, r.PassEnded(cell=cell, attempt=1, end=end, frames=frames, harness_cost=cost))
    view.kept(state, r.PassJudged(cell=cell, attempt=1, verdict=Verdict.KEPT, reason=""))
    assert out.getvalue().endswith(f"{told}\n")


def test_a_wait_for_a_persons_hours_is_said_once() -> None:
    out, state = io.StringIO(), at_the_door()
    hours = d.Person(from_minute=8 * 60, to_minute=9 * 60)
    state.plan = dataclasses.replace(state.plan, person=hours)
    view = view_of("plain", out, None)
    for left_s in (7200.0, 7140.0):  # woken by a request, and goes on
        view.next(state, i.AwaitHours(seconds=left_s))
    (line,) = out.getvalue().splitlines()
    assert line.endswith(
        "a person is needed, and may be asked in 2 h (hours: 08:00 to 09:00, the rig's own time)"
    )


def test_the_time_left_holds_the_wait_for_a_persons_hours() -> None:
    state = begin(plan(keep=2))
    waits = i.AwaitHours(seconds=17 * 3600.0)
    # two passes of 10 s
    assert still_s(state, waits, seen={}, since_s=3600.0) == 16 * 3600.0 + 20.0
    assert still_s(state, waits, seen={}, since_s=20 * 3600.0) == 20.0
    assert still_s(state, None, seen={}) == 20.0


@pytest.mark.parametrize("name", ["plain", "live"])
def test_what_is_only_to_be_looked_at_is_asked_in_its_own_words(name: str) -> None:
    out = io.StringIO()
    still = dataclasses.replace(STEP, opens_case=False, still=True, reopens=True)
    view_of(name, out, None).kept(at_the_door(), still)
    told = out.getvalue()
    assert (
        "  When you have seen that it is so: harness confirm --step 3 --by YOUR-NAME --run" in told
    )
    first = told.index("  Only if it is not so: first, and while the case is open:")
    assert first < told.index("    - Shut the rig down, switch the power supply off and unplug it.")
    assert "  Only if the case was opened: with the case closed again:" in told
