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
from harness.rig.crossings import GatesOpened, WaitEnd
from harness.rig.tasks import Hold, Leftovers, Member, PassTask, attempt_name
from harness.rules.gates import GateWatch
from harness.rules.guards import GuardWatch
from harness.rules.judgement import Measured
from harness.rules.summaries import summarise_readings
from harness.run import instructions as i
from harness.run import observations as o
from harness.run.apply import apply
from harness.run.clock_watch import ClockWatch
from harness.run.debts import Debts, not_put_back
from harness.run.decide import decide
from harness.run.disk_room import FREE
from harness.run.fill import fill
from harness.run.level_work import put_back, set_level
from harness.run.pick import minutes_to, pick
from harness.run.ports import Bench, Clock, Interrupt, Journal, Meter
from harness.run.ready import spoken_of
from harness.run.records import (
    BundleRef,
    ClockJumped,
    LevelPutBack,
    LevelVerified,
    Offer,
    Record,
    RequestAnswered,
    RequestKind,
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
    #: Earlier cells that the plan allows to be taken.
    offers: tuple[Offer, ...] = ()
    #: What an earlier runner left, where the bench was asked already.
    left: Leftovers | None = None
    #: Asked once, when the rig is as it should be and before anything is done with it.
    ready: Callable[[], None] = lambda: None
    names: tuple[str, ...] = field(init=False, default=())
    _debts: Debts = field(init=False)
    _watch: ClockWatch = field(init=False)

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
        self._observe(self._come_up())
        asked = False
        while True:
            self.answer_requests()
            if self.stop():
                if self.state.phase is Phase.STEP:
                    return i.Outcome.PAUSED
                self._observe(o.StopCame(reason=self.stop_reason()))
            hours = self.state.plan.person is not None
            minute = self.clock.local_minute() if hours else 0
            instruction = pick(self.state, local_minute=minute, now=self._instant())
            self.onlooker.next(self.state, instruction)
            if isinstance(instruction, i.AwaitGates) and self.stop():
                continue  # the pass that is due now is one too many: see ``NightEnd``
            if isinstance(instruction, i.Leave):
                self._leave()
                return instruction.outcome
            if not asked and not isinstance(instruction, i.PutBack):
                asked = True
                self.ready()
            observation = self._perform(instruction)
            told = ClockJumped in TRANSITIONS[self.state.phase]  # a pass tells of it by itself
            if told and not isinstance(instruction, i.GoOn) and (by_s := self._watch.look()):
                self._observe(o.ClockMoved(by_s=by_s))
            if observation is not None:
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
                apply(self.state, record)
                self.onlooker.kept(self.state, record)
                if isinstance(record, (LevelVerified, LevelPutBack)):
                    self._debts.lift(self.state, record.condition)

    def _come_up(self) -> o.RunnerCameUp:
        left = self.left if self.left is not None else self.bench.recover(self.state.run)
        own = self._debts.standing(self.state.run)
        return o.RunnerCameUp(
            boot=self.boot,
            fingerprint=self._fingerprint(),
            unread=self.bench.unread(),
            ended=left.ended,
            survivors=left.survivors,
            given_back=left.given_back,
            bundle=self._leftovers(left),
            holds=tuple(hold for hold in self.bench.holds() if hold not in own),
            releases=self.bench.releases(),
            offers=self.offers,
        )

    def _fingerprint(self) -> dict[str, str]:
        fields = dict(self.bench.fingerprint(None, full=True))
        titles = {self.state.grid.titles[offer.cell].title for offer in self.offers}
        for title in self.state.plan.titles:
            if title.title in titles:
                fields |= self.bench.fingerprint(title, full=False)
        return fields

    def _leftovers(self, left: Leftovers) -> BundleRef | None:
        """Keep what the interrupted attempt left, as evidence; never as a result."""
        started = self.state.passing
        if started is None:
            return None
        name = attempt_name(started.cell, started.attempt)
        members: tuple[Member, ...] = (left.attempts or {}).get(name, ())
        return self.journal.keep(name, members) if members else None

    def _leave(self) -> None:
        hold = self.state.hold
        if hold is not None:
            # Standing again under the same id is one hold: a crash between the record and
            # this line is made good by the next start.
            self.bench.hold(
                Hold(
                    id=hold.hold,
                    run=self.state.run,
                    reason=hold.reason + not_put_back(self.state),
                    do=hold.do,
                    at=self.clock.now().isoformat(),
                )
            )

    def answer_requests(self) -> None:
        """Answer what persons have asked since the last look."""
        for request in self.journal.requests(self.state.last_request):
            if RequestAnswered not in TRANSITIONS[self.state.phase]:
                return  # in the middle of something: it is answered after it
            anew = request.kind is RequestKind.RERUN and self.state.phase is Phase.FINISHED
            rig = self.bench.fingerprint(None, full=True) if anew else None
            self._observe(o.RequestCame(request=request, boot=self.boot, fingerprint=rig))

    def _woken(self) -> bool:
        return self.stop() or bool(self.journal.requests(self.state.last_request))

    def _may_ask(self) -> bool:
        # The clock of the day may jump meanwhile, and summer time may begin or end.
        return self._woken() or not minutes_to(self.state.plan.person, self.clock.local_minute())

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
                whole = self.clock.wait(seconds, self.stop)
                return o.SettleOver(seconds=seconds) if whole else None
            case i.AwaitHours(seconds=seconds):
                self.clock.wait(seconds, self._may_ask)
                return None
            case i.AwaitPerson():
                self.clock.wait(float("inf"), self._woken)
                return None
            case i.AwaitProof(gate=gate, reading=name):
                proved = self.bench.wait(self._shown(GateWatch((gate,), ())), self.stop)
                return o.ProofOver(end=proved, reading=self.bench.read([name])[0])
            case i.AwaitGates():
                return self._await_gates(instruction)
            case i.CarryOut():
                return self._carry_out(instruction)
            case i.Leave():
                raise AssertionError("leaving is not performed")
            case _:
                assert_never(instruction)

    def _shown(self, watch: GateWatch) -> GateWatch:
        self.onlooker.waits(watch)
        return watch

    def _await_gates(self, wait: i.AwaitGates) -> o.WaitOver:
        self.journal.rest()
        watch = GateWatch(wait.gates, wait.limits)
        if watch.opens_at_once:
            end: WaitEnd = GatesOpened(waited_s=0.0)
        else:
            end = self.bench.wait(self._shown(watch), self._woken)
        readings = self.bench.read((*self.names, FREE))
        return o.WaitOver(
            cell=wait.cell,
            end=end,
            fingerprint=self.bench.fingerprint(self.state.grid.titles[wait.cell], full=False),
            unread=self.bench.unread(),
            readings=readings[:-1],
            free=readings[-1],
            reference=wait.reference,
            now=self._instant(),
        )

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
        report = self.bench.carry_out(task, self.stop)
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
