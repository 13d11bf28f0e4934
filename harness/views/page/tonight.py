"""What goes on now: the runs, the pass, the step that waits for a person, the holds.

Touches nothing itself. Made from what the store has counted already, so that it costs the same
for ten passes and for a million; what comes next and how long it takes is worked out apart.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from harness.plan.document import Title
from harness.rig.hold import Hold
from harness.rig.locks import Owner
from harness.run.state import Grid
from harness.store.standing import RunLine
from harness.views.interrupted import phase_words
from harness.views.lengths import expected_pass_s
from harness.views.run_line import line_json
from harness.views.safety import UNATTENDED, cautions
from harness.views.waiting import waiting_words

SCHEMA = "harness.page.tonight/1"

#: When the page looks again, seconds: with nothing in a pass, and in a pass at the least and most.
LOOK_AGAIN_S = 5.0
LEAST_IN_A_PASS_S, MOST_IN_A_PASS_S = 10.0, 600.0

_IDLE = {
    "new": "begins",
    "idle": "the next pass is being prepared: a gate, a level or the settling is awaited",
    "level": "a level is being set",
    "ended": "a pass has ended and is being judged",
    "paused": "stopped; goes on with the same harness run",
    "finished": "every cell is closed",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tonight:
    """What the first view shows.

    ``current`` is the run that is not finished and was worked on last; None: all are.
    ``interrupted`` says of each run whether its runner is gone; None: that is not known.
    """

    at: datetime
    current: RunLine | None
    lines: tuple[RunLine, ...]
    runner: Owner | None
    holds: tuple[Hold, ...]
    interrupted: Mapping[str, bool | None]

    @property
    def phases(self) -> dict[str, str]:
        """Return the phase of every run, as a list of runs shows it."""
        return {line.run: phase_words(line, self.interrupted[line.run]) for line in self.lines}

    @property
    def waits_at(self) -> dict[str, Any] | None:
        """Return what the runner of the current run waits at; None: at nothing."""
        own, runner = self.current, self.runner
        ours = own is not None and runner is not None and runner.run == own.run
        return runner.waits if ours and runner is not None else None


def tonight(
    lines: Sequence[RunLine],
    *,
    at: datetime,
    runner: Owner | None,
    holds: Sequence[Hold],
    interrupted: Mapping[str, bool | None],
) -> Tonight:
    """Return what goes on at the instant *at*."""
    unfinished = [line for line in lines if line.standing.phase != "finished"]
    if runner is not None and runner.run:
        unfinished.sort(key=lambda line: line.run != runner.run)  # stable: its own run first
    own = unfinished[0] if unfinished else None
    # What the run at work has yet to put back stands as a hold against all others.
    shown = [h for h in holds if runner is None or runner.run != h.run]
    return Tonight(
        at=at,
        current=own,
        lines=tuple(lines),
        runner=runner,
        holds=tuple(shown),
        interrupted=interrupted,
    )


def waits(line: RunLine) -> dict[str, Any]:
    """Return the record of the open step, or of the hold, as it is kept; empty: nothing waits."""
    found: dict[str, Any] = json.loads(line.standing.waits) if line.standing.waits else {}
    return found


def step(line: RunLine) -> dict[str, Any] | None:
    """Return the step that waits for a person, with the words of caution; None: none does."""
    if line.standing.phase != "step":
        return None
    found = waits(line)
    attend, reopens = bool(found.get("attend", False)), bool(found.get("reopens", False))
    return {
        "step": found["step"],
        "levels": dict(found["levels"]),
        "say": list(found["say"]),
        "opens_case": found["opens_case"],
        "reboot": found["reboot"],
        "attend": attend,
        "still": bool(found.get("still", False)),
        "reopens": reopens,
        "why": found.get("why", ""),
        "caution": [
            text
            for _, words in cautions(opens_case=found["opens_case"], attend=attend, reopens=reopens)
            for text in words
        ],
    }


def doing(
    line: RunLine,
    *,
    label: str | None,
    at_work: bool,
    interrupted: bool | None,
    waits_at: dict[str, Any] | None = None,
) -> str:
    """Return what goes on in a run, in one line.

    *label* is of the cell in a pass, *waits_at* the note of its runner on what it waits at;
    *interrupted* says whether that runner is gone (None: not known).
    """
    standing = line.standing
    match standing.phase:
        case "idle" if at_work and waits_at is not None:
            return waiting_words(waits_at)
        case "pass":
            what = {None: "reference pass", True: "warm-up pass", False: "pass"}[standing.warm_up]
            text = f"{what}, attempt {standing.attempt}: {label or standing.cell}"
            return f"interrupted in a {text}; the same harness run goes on" if interrupted else text
        case "step":
            return f"step {waits(line).get('step')} waits for a person"
        case "held":
            return f"the rig is held: {waits(line).get('reason', 'see its holds')}"
        case _ if interrupted:
            return "interrupted: its runner is gone; the same harness run goes on"
        case phase if at_work or phase in ("paused", "finished", "new"):
            return _IDLE.get(phase, phase)
        case _:
            return "no runner is at work; goes on with the same harness run"


def look_again_s(line: RunLine | None, grid: Grid | None, *, now: datetime, in_pass: bool) -> float:
    """Return when the page is to look again, seconds from *now*: in a pass, after it."""
    if not in_pass or line is None or not line.standing.since:
        return LOOK_AGAIN_S
    title: Title | None = None if grid is None else grid.titles.get(line.standing.cell or "")
    length_s = MOST_IN_A_PASS_S if title is None else expected_pass_s(title)
    ends = datetime.fromisoformat(line.standing.since) + timedelta(seconds=length_s)
    left_s = (ends - now).total_seconds()
    return min(MOST_IN_A_PASS_S, max(LEAST_IN_A_PASS_S, left_s))


def as_json(found: Tonight, *, again_s: float, label: str | None) -> dict[str, object]:
    """Return the object of ``/api/tonight``."""
    own, runner = found.current, found.runner
    return {
        "schema": SCHEMA,
        "at": found.at.isoformat(),
        "look_again_s": again_s,
        "runner": None
        if runner is None
        else {"plan": runner.plan, "since": runner.since, "run": runner.run or None},
        "holds": [hold_json(each) for each in found.holds],
        "current": None
        if own is None
        else {
            **line_json(own, interrupted=found.interrupted[own.run]),
            "doing": doing(
                own,
                label=label,
                at_work=runner is not None,
                interrupted=found.interrupted[own.run],
                waits_at=found.waits_at,
            ),
            "step": step(own),
        },
        "runs": [line_json(x, interrupted=found.interrupted[x.run]) for x in found.lines],
        "unattended": list(UNATTENDED),
    }


def hold_json(hold: Hold) -> dict[str, object]:
    """Return a hold as the API shows it."""
    return {"id": hold.id, "run": hold.run, "reason": hold.reason, "do": hold.do, "at": hold.at}
