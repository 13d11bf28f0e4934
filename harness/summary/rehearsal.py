"""A night in simulated time: the same machine and loop, over a rehearsed bench.

Pure. Chance is handed in. Nothing is launched and nothing is kept: records go to a journal in
memory and are gone with it. A person does each step some minutes after it was asked, within
the plan's hours; a hold ends the rehearsal, since nobody is there to release the rig.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from functools import partial

from harness.plan.document import Night, Plan
from harness.rig.model import Chance, Model, Odds
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rules.rehearsed_meter import rehearsed_meter
from harness.run import instructions as i
from harness.run import records as r
from harness.run.loop import Loop
from harness.run.state import RunState, begin
from harness.store.memory import MemoryJournal
from harness.summary.assumed import Assumed
from harness.summary.diary import Diary, Rehearsal

#: A bad night, as probabilities for each pass or command. Made up, to see what a plan does
#: with faults; not how often they come on any rig.
BAD_NIGHT = Odds(
    exit=0.04, signal=0.02, time_limit=0.01, not_found=0.01, no_capture=0.02, guard=0.03,
    survivor=0.003, slept=0.01, outlier=0.05, command=0.01,
)  # fmt: skip
BAD_NOISE = 0.01


class _StartedAnew(Exception):
    """A person shut the rig down for a step, and started it again."""


def rehearse(
    plan: Plan,
    *,
    assumed: Assumed,
    start: datetime,
    zone: tzinfo | None,
    person_s: float,
    chance: Chance,
    bad: bool,
) -> Rehearsal:
    """Carry *plan* out in simulated time.

    Args:
        plan: The plan.
        assumed: How long passes take, and how parts cool.
        start: When, aware.
        zone: The zone of the rig's wall clock; None: this machine's.
        person_s: How long after it was asked a step is done.
        chance: Drawn from on a bad night only.
        bad: Whether faults come.
    """
    night = _Night(plan, assumed, start, zone, person_s, chance, bad=bad)
    night.carry_on()
    end = night_end(plan.night, start, zone) if plan.night is not None else None
    return night.diary.told(night.loop.state, start, end)


def night_end(night: Night, start: datetime, zone: tzinfo | None) -> datetime:
    """Return the first end of the night after *start*."""
    day = start.astimezone(zone).replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
    end = day + timedelta(minutes=night.end_minute)
    while True:
        instant = (end if zone is None else end.replace(tzinfo=zone)).astimezone(UTC)
        if instant > start:
            return instant
        end += timedelta(days=1)


class _Night:
    """The parts of one rehearsal, joined."""

    def __init__(
        self,
        plan: Plan,
        assumed: Assumed,
        start: datetime,
        zone: tzinfo | None,
        person_s: float,
        chance: Chance,
        *,
        bad: bool,
    ) -> None:
        self._person_s, self._boots = person_s, 1
        self._clock = RehearsedClock(
            start=start, local=lambda instant: instant.astimezone(zone), person=self._comes
        )
        self._bench = RehearsedBench(
            self._clock,
            Model(
                chance=chance,
                length_s=lambda task: assumed.seconds[task.cell.key],
                noise=BAD_NOISE if bad else 0.0,
                odds=_odds(plan) if bad else Odds(),
                parts={part.reading: part.thermal for part in assumed.parts},
                constants=assumed.constants,
                by_level=assumed.by_level,
            ),
        )
        self._clock.waited = partial(self._bench.relax, loaded=False)
        self._journal = MemoryJournal()
        self.diary = Diary(self._clock)
        self.loop = self._new_loop(begin(plan))
        self.loop.keep(
            [r.RunStarted(run="rehearsal", plan="", plan_hash="", plan_file="", rig="", harness="")]
        )

    def _new_loop(self, state: RunState) -> Loop:
        return Loop(
            state=state,
            bench=self._bench,
            journal=self._journal,
            clock=self._clock,
            meter=rehearsed_meter(self._bench),
            boot=f"boot-{self._boots}",
            attended_by="a person",  # whoever started it anew is there
            after="rehearsal",  # and nobody else had the rig
            onlooker=self.diary,
        )

    def carry_on(self) -> i.Outcome:
        """Carry the plan on until there is nothing more to do, however often the rig restarts."""
        while True:
            try:
                return self.loop.carry_on()
            except _StartedAnew:
                self._boots += 1
                self.loop = self._new_loop(self.loop.state)

    def _comes(self) -> float | None:
        """Do the open step, as a person does: it may take starting the rig anew."""
        step = self.loop.state.step
        assert step is not None
        self._journal.put(
            r.Request(
                number=0,
                kind=r.RequestKind.CONFIRM,
                by="a person",
                step=step.step,
                attending=step.stays,
            )
        )
        if step.reboot:
            self._clock.elapsed_s += self._person_s
            self._clock.waited(self._person_s)
            raise _StartedAnew
        return self._person_s


def _odds(plan: Plan) -> Odds:
    if plan.guards:
        return BAD_NIGHT
    return replace(BAD_NIGHT, guard=0.0)
