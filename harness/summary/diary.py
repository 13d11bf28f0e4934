"""What happens in a rehearsal, and when: written down as the loop goes.

Pure.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from harness.rig.rehearsed import RehearsedClock
from harness.rules.judgement import Verdict
from harness.run import instructions as i
from harness.run import records as r
from harness.run.loop import Onlooker
from harness.run.state import RunState

_MOST_RECORDS = 5_000_000  # of one rehearsal: far beyond any night


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedPass:
    """One pass. Times are seconds since the start.

    Args:
        cell: The cell's key.
        attempt: Its attempt.
        what: ``pass``, ``warm-up`` or ``reference``.
        at_s: When its command starts, the wait over.
        waited_s: How long its gates took.
        seconds: How long it takes; 0 where a gate gave up and it is skipped.
        verdict: The verdict.
        reason: Why.
    """

    cell: str
    attempt: int
    what: str
    at_s: float
    waited_s: float
    seconds: float
    verdict: Verdict
    reason: str
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedStep:
    """A person's step: when it is asked, and when it is taken to be done."""

    step: int
    levels: tuple[tuple[str, str], ...]
    say: tuple[str, ...]
    opens_case: bool
    reboot: bool
    asked_s: float
    done_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedHold:
    """What held the rig, and when."""

    at_s: float
    fault: str
    reason: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """What came of it.

    Args:
        start: When it begins.
        night_end: When the plan's night ends; None: the plan names none.
        passes: Every pass, in order.
        steps: Every step of a person, in order.
        hold: What held the rig; None: the plan was carried out.
        seconds: From the start to the end, or to the hold.
        spent: What the seconds went to: ``passes``, ``gates``, ``levels``, ``settling``,
            ``person`` (steps) and ``hours`` (waiting until a person may be asked).
        states: Cell key -> the state it ends in, in plan order.
        left_over: Keys of the cells that are not closed when the night ends, or ever.
    """

    start: datetime
    night_end: datetime | None
    passes: tuple[RehearsedPass, ...]
    steps: tuple[RehearsedStep, ...]
    hold: RehearsedHold | None
    seconds: float
    spent: dict[str, float]
    states: dict[str, r.CellState]
    left_over: tuple[str, ...]

    @property
    def finish(self) -> datetime | None:
        """Return when the plan is carried out; None: it is not, the rig being held."""
        return None if self.hold is not None else self.start + timedelta(seconds=self.seconds)

    def count(self, what: str) -> int:
        """Return how many passes of one kind there are, interrupted ones aside."""
        return sum(p.what == what and p.verdict is not Verdict.INTERRUPTED for p in self.passes)


@dataclass(slots=True)
class Diary(Onlooker):
    """Writes down what happens, and when."""

    clock: RehearsedClock
    passes: list[RehearsedPass] = field(default_factory=list)
    steps: list[RehearsedStep] = field(default_factory=list)
    hold: RehearsedHold | None = None
    closed_s: dict[str, float] = field(default_factory=dict)
    spent: dict[str, float] = field(
        default_factory=lambda: dict.fromkeys(
            ("passes", "gates", "levels", "settling", "person", "hours"), 0.0
        )
    )
    _began_s: float = 0.0
    _last_s: float = 0.0
    _doing: i.Instruction | None = None
    _started: r.PassStarted | None = None
    _asked: r.StepAsked | None = None
    _asked_s: float = 0.0
    records: int = 0

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """Note what the time until the next instruction is spent on."""
        self._spend()
        self._doing = instruction

    def _spend(self) -> None:
        now = self.clock.elapsed_s
        took, self._last_s = now - self._last_s, now
        match self._doing:
            case i.CarryOut():
                self.spent["passes"] += took
            case i.AwaitGates() | i.AwaitProof():
                self.spent["gates"] += took
            case i.SetLevel() | i.PutBack():
                self.spent["levels"] += took
            case i.Settle():
                self.spent["settling"] += took
            case i.AwaitPerson():
                self.spent["person"] += took
            case i.AwaitHours():
                self.spent["hours"] += took
            case i.GoOn() | i.Leave() | None:
                pass  # take no time

    def kept(self, state: RunState, record: r.Record) -> None:
        """Note what the record says."""
        self.records += 1
        assert self.records < _MOST_RECORDS, "the rehearsal never ends"
        now = self.clock.elapsed_s
        match record:
            case r.PassStarted():
                self._started, self._began_s = record, now
            case r.PassJudged():
                assert self._started is not None
                self._pass(self._started, record, now - self._began_s)
            case r.PassSkipped():
                self.passes.append(
                    RehearsedPass(
                        cell=record.cell, attempt=record.attempt, what=_what(record), at_s=now,
                        waited_s=0.0, seconds=0.0, verdict=Verdict.FAILED, reason=record.reason,
                    )
                )  # fmt: skip
            case r.StepAsked():
                self._asked, self._asked_s = record, now
            case r.StepConfirmed():
                assert self._asked is not None
                self._step(self._asked, now)
            case r.CellClosed():
                self.closed_s[record.cell] = now
            case r.RigHeld():
                self.hold = RehearsedHold(
                    at_s=now, fault=record.fault, reason=record.reason, do=record.do
                )
            case _:
                pass  # takes no time of its own

    def _pass(self, started: r.PassStarted, judged: r.PassJudged, seconds: float) -> None:
        self.passes.append(
            RehearsedPass(
                cell=judged.cell,
                attempt=judged.attempt,
                what=_what(started),
                at_s=self._began_s,
                waited_s=started.waited_s,
                seconds=seconds,
                verdict=judged.verdict,
                reason=judged.reason,
                marks=judged.marks,
            )
        )

    def _step(self, asked: r.StepAsked, now: float) -> None:
        self.steps.append(
            RehearsedStep(
                step=asked.step,
                levels=asked.levels,
                say=asked.say,
                opens_case=asked.opens_case,
                reboot=asked.reboot,
                asked_s=self._asked_s,
                done_s=now,
            )
        )

    def told(self, state: RunState, start: datetime, end: datetime | None) -> Rehearsal:
        """Return all of it."""
        self._spend()
        until_s = (end - start).total_seconds() if end is not None else float("inf")
        late = tuple(
            key
            for key in state.progress
            if key not in self.closed_s or self.closed_s[key] > until_s
        )
        return Rehearsal(
            start=start,
            night_end=end,
            passes=tuple(self.passes),
            steps=tuple(self.steps),
            hold=self.hold,
            seconds=self.clock.elapsed_s,
            spent=self.spent,
            states={key: progress.state for key, progress in state.progress.items()},
            left_over=late,
        )


def _what(record: r.PassStarted | r.PassSkipped) -> str:
    if record.reference and not record.warm_up:
        return "reference"
    return "warm-up" if record.warm_up else "pass"
