"""The loop: perform an instruction, observe what came of it, keep what is decided.

Touches nothing but through the ports of ``harness.run.ports``. It performs and decides
nothing. Records are durable before what they permit begins: a pass is launched only after
its ``PassStarted`` is kept, and its files are kept before the record that names them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import assert_never

from harness.errors import StoreError
from harness.plan.nights import zone_of_hours
from harness.rig.tasks import Leftovers, PassTask
from harness.rules.gates import GateWatch
from harness.rules.guards import GuardWatch
from harness.rules.judgement import Measured
from harness.rules.summaries import summarise_readings
from harness.run import instructions as i
from harness.run import observations as o
from harness.run.apply import apply
from harness.run.attendance import case_step
from harness.run.clock_watch import ClockWatch, clocks_now
from harness.run.coming_up import left_behind, whole_fingerprint
from harness.run.debts import Debts, standing
from harness.run.decide import decide
from harness.run.fill import fill
from harness.run.gate_work import await_gates, outlasts_a_sleep
from harness.run.level_work import put_back, set_level
from harness.run.pick import minutes_to, pick
from harness.run.ports import Bench, Clock, Interrupt, Journal, Meter
from harness.run.ready import spoken_of
from harness.run.records import (
    ClockJumped,
    LevelPutBack,
    LevelVerified,
    Offer,
    Record,
    RequestAnswered,
    RequestKind,
    RigReleased,
    RunnerStarted,
)
from harness.run.refused import leave_safely
from harness.run.state import RunState
from harness.run.transitions import TRANSITIONS, Phase, led_to


class Onlooker:
    """Is told what goes on, and does nothing with it: the base of every live view."""

    def kept(self, state: RunState, record: Record) -> None:
        """*record* is kept, and *state* is the state after it."""

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """*instruction* is about to be performed."""

    def waits(self, watch: GateWatch) -> None:
        """A wait is about to begin, and *watch* is what will end it."""


@dataclass(slots=True, kw_only=True)
class Loop:
    """One runner's work on one run, through its ports.

    ``state`` is the fold of the journal's records. ``stop`` is asked between steps, once a
    second in a wait, and by the bench during a pass; once true it stays true.
    """

    state: RunState
    bench: Bench
    journal: Journal
    clock: Clock
    meter: Meter
    boot: str
    stop: Interrupt = lambda: False
    onlooker: Onlooker = field(default_factory=Onlooker)
    stop_reason: Callable[[], str] = lambda: "told to stop"
    offers: tuple[Offer, ...] = ()  #: earlier cells that the plan allows to be taken
    left: Leftovers | None = None  #: by an earlier runner, where the bench was asked already
    attended_by: str = ""  #: who started this runner at a terminal; empty: no person there did
    sleep: str = ""  #: what holds the machine's sleep off, or why nothing does
    ready: Callable[[], None] = lambda: None  #: asked once, before anything is done with the rig
    after: str = ""  #: the run whose runner had the rig last; empty: it is not known
    names: tuple[str, ...] = field(init=False, default=())
    _debts: Debts = field(init=False)
    #: The last request put before this runner came; -1: it carries nothing out, it only answers.
    _before: int = field(init=False, default=-1)
    _watch: ClockWatch = field(init=False)
    _slept: bool = field(init=False, default=False)  #: the machine, in what is being performed

    def __post_init__(self) -> None:
        """Note which readings the plan speaks of."""
        self.names = spoken_of(self.state.plan)
        self._debts = Debts(self.bench, self.clock)
        self._watch = ClockWatch(self.clock)

    def carry_on(self) -> i.Outcome:
        """Take the run up and carry it on until there is nothing more to do.

        Returns:
            Why the runner leaves: the run is finished, the rig is held, or the runner was
            told to stop (also while a person's step is open).

        Raises:
            StoreError: the store could not keep something; the rig is held and left as it was.
        """
        try:
            return self._carry_on()
        except StoreError as error:
            raise leave_safely(self.bench, self.clock, self.state, error) from error

    def _carry_on(self) -> i.Outcome:
        waiting = self.journal.requests(self.state.last_request)
        self._before = waiting[-1].number if waiting else 0
        self._observe(self._come_up())
        asked = False
        while True:
            self.answer_requests()
            if self.stop():
                if self.state.phase is Phase.STEP:
                    return i.Outcome.PAUSED
                self._observe(o.StopCame(reason=self.stop_reason()))
            instruction = pick(self.state, local_minute=self._minute(), now=self._instant())
            self.onlooker.next(self.state, instruction)
            if isinstance(instruction, i.AwaitGates) and self.stop():
                continue  # the pass that is due now is one too many: see ``NightEnd``
            if isinstance(instruction, i.Leave):
                self._leave()
                return instruction.outcome
            if not asked and not isinstance(instruction, i.PutBack):
                asked = True
                self.ready()
            self._slept = False
            observation = self._perform(instruction)
            if not isinstance(instruction, i.GoOn):
                self._look_at_clocks()
            if observation is not None and (not self._slept or outlasts_a_sleep(observation)):
                self._observe(observation)

    def _observe(self, observation: o.Observation) -> None:
        self.keep(decide(self.state, observation))

    def keep(self, records: Sequence[Record]) -> None:
        """Keep *records*, then apply them: what is not kept has not happened.

        Raises:
            IllegalTransition: a bug in the harness; nothing is kept of it.
        """
        if records:
            led_to(self.state.phase, records)
            self.journal.append(records, at=self.clock.now(), boot=self.boot)
            for record in records:
                opened = case_step(self.state)
                apply(self.state, record)
                self.onlooker.kept(self.state, record)
                if isinstance(record, (RunnerStarted, RigReleased)):
                    self._debts.square(self.state)
                elif opened or case_step(self.state):
                    self._debts.note_case(self.state)
                if isinstance(record, (LevelVerified, LevelPutBack)):
                    self._debts.lift(self.state, record.condition)

    def _come_up(self) -> o.RunnerCameUp:
        left = self.left if self.left is not None else self.bench.recover(self.state.run)
        own = self._debts.standing(self.state.run)
        return o.RunnerCameUp(
            boot=self.boot,
            fingerprint=whole_fingerprint(self.state, self.bench, self.offers),
            unread=self.bench.unread(),
            ended=left.ended,
            survivors=left.survivors,
            given_back=left.given_back,
            sleep=self.sleep,
            attended_by=self.attended_by,
            clocks=clocks_now(self.clock, boot=self.boot),
            last_at=self.journal.last_at(),
            after=self.after,
            bundle=left_behind(self.state, self.journal, left),
            holds=tuple(hold for hold in self.bench.holds() if hold not in own),
            releases=self.bench.releases(),
            offers=self.offers,
        )

    def _leave(self) -> None:
        hold = self.state.hold
        if hold is not None:
            # Standing again under the same id is one hold: a crash between the record and
            # this line is made good by the next start.
            self.bench.hold(standing(self.state, hold, at=self.clock.now()))

    def answer_requests(self) -> None:
        """Answer what persons have asked since the last look."""
        for request in self.journal.requests(self.state.last_request):
            if RequestAnswered not in TRANSITIONS[self.state.phase]:
                return  # in the middle of something: it is answered after it
            anew = request.kind is RequestKind.RERUN and self.state.phase is Phase.FINISHED
            rig = self.bench.fingerprint(None, full=True) if anew else None
            when = {"before": request.number <= self._before, "alone": self._before < 0}
            self._observe(o.RequestCame(request=request, boot=self.boot, fingerprint=rig, **when))

    def _woken(self) -> bool:
        return self._broken_off() or bool(self.journal.requests(self.state.last_request))

    def _broken_off(self) -> bool:
        """Return whether a wait is to end: nobody saw the rig while the machine slept."""
        self._look_at_clocks()
        return self._slept or self.stop()

    def _look_at_clocks(self) -> None:
        """Keep that the clock of the day jumped or the machine slept; a pass tells of its own."""
        if ClockJumped in TRANSITIONS[self.state.phase]:
            by_s, slept_s = self._watch.look(), self._watch.slept_s()
            self._slept = self._slept or slept_s > 0
            if by_s or slept_s:
                self._observe(o.ClockMoved(by_s=by_s, slept_s=slept_s))

    def _may_ask(self) -> bool:
        # The clock of the day may jump meanwhile, and summer time may begin or end.
        return self._woken() or not minutes_to(self.state.plan.person, self._minute())

    def _minute(self) -> int:
        plan = self.state.plan
        return 0 if plan.person is None else self.clock.local_minute(zone_of_hours(plan))

    def _perform(self, instruction: i.Instruction) -> o.Observation | None:
        match instruction:
            case i.GoOn():
                return o.WentOn(boot=self.boot, now=self._instant())
            case i.SetLevel(task=task):
                self._debts.make(self.state, task)
                return set_level(self.bench, self.state, task)
            case i.PutBack():
                return put_back(self.bench, self.state, instruction)
            case i.Settle(seconds=seconds):
                whole = self.clock.wait(seconds, self._broken_off)
                return o.SettleOver(seconds=seconds) if whole else None
            case i.AwaitHours(seconds=seconds):
                self.clock.wait(seconds, self._may_ask)
                return None
            case i.AwaitPerson():
                self.clock.wait(float("inf"), self._woken)
                return None
            case i.AwaitProof(gate=gate, reading=name):
                # A reading that comes back is what is waited for: it has all of its time.
                watch = GateWatch((gate,), (), lost_s=gate.give_up_s)
                self.onlooker.waits(watch)
                proved = self.bench.wait(watch, self._broken_off)
                return o.ProofOver(end=proved, reading=self.bench.read([name])[0])
            case i.AwaitGates():
                self.journal.rest()
                return await_gates(
                    self.bench,
                    self.state,
                    instruction,
                    names=self.names,
                    shown=self.onlooker.waits,
                    interrupt=self._woken,
                    now=self._instant,
                )
            case i.CarryOut():
                return self._carry_out(instruction)
            case i.Leave():
                raise AssertionError("leaving is not performed")
            case _:
                assert_never(instruction)

    def _instant(self) -> datetime | None:
        return self.clock.now() if self.state.plan.reference is not None else None

    def _carry_out(self, order: i.CarryOut) -> o.PassOver:
        grid, plan = self.state.grid, self.state.plan
        cell = grid.cells[order.cell]
        task = PassTask(
            run=self.state.run,
            cell=cell,
            title=grid.titles[order.cell],
            attempt=order.attempt,
            warm_up=order.warm_up,
            fill=fill(cell, grid.settings[order.cell], attempt=order.attempt, state=self.state),
            watch=GuardWatch(plan.guards, order.limits, grid.under_load(cell)),
        )
        before_s = self._watch.slept_s()  # since its gates were seen to hold
        report = self.bench.carry_out(task, self.stop)
        self._watch.slept_s()  # the bench tells of it
        if before_s:
            report = replace(report, slept_s=before_s + report.slept_s)
        if by_s := self._watch.look():
            report = replace(report, clock_jumped_s=by_s)
        bundle = self.journal.keep(task.name, report.members) if report.members else None
        measured: Measured = self.meter(task, report)
        return o.PassOver(
            report=report,
            measured=measured,
            bundle=bundle,
            readings=summarise_readings(report.samples),
        )
