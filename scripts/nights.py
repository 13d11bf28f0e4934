"""Simulated nights: the whole machine over a rehearsed bench, with crashes and faults.

    python scripts/nights.py [--nights N] [--first SEED]

Every night has a random plan and a random rig, both drawn from its seed; the runner is
killed between any two calls that reach outside, the machine may start anew, anything may
fail. After every night the invariants of ``check`` are held against the records alone. A
failing seed replays exactly.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from harness.plan import document as d
from harness.rig.crossings import GateGaveUp, GatesOpened
from harness.rig.model import Model, Odds
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.tasks import PassReport, PassTask, Release
from harness.rig.thermal import Thermal
from harness.rules.judgement import Figure, Measured, Verdict
from harness.run import records as r
from harness.run.apply import fold
from harness.run.instructions import Outcome
from harness.run.loop import Loop
from harness.run.state import Grid, begin
from harness.store.memory import MemoryJournal


class Killed(BaseException):
    """The runner is gone, as after kill -9 or a power cut."""


@dataclass(slots=True)
class Fate:
    """Counts down the calls that reach outside; at zero the runner is killed."""

    calls_left: int

    def step(self) -> None:
        """Count one call; raise Killed when it was the last."""
        self.calls_left -= 1
        if self.calls_left == 0:
            raise Killed


class Mortal:
    """Wraps a port: the runner may be killed just before or just after any call."""

    def __init__(self, inner: Any, fate: Fate) -> None:
        self._inner = inner
        self._fate = fate

    def __getattr__(self, name: str) -> Callable[..., Any]:
        method, fate = getattr(self._inner, name), self._fate

        def call(*args: Any, **kwargs: Any) -> Any:
            fate.step()
            answer = method(*args, **kwargs)
            fate.step()
            return answer

        setattr(self, name, call)  # the next time it is found without asking here
        return call


class Witness:
    """A bench that notes what the invariants need to know of the outside world."""

    def __init__(self, inner: RehearsedBench) -> None:
        self.inner = inner
        self.last_wait: object = None
        self.gated = True
        self.mark = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self.inner, name)

    def wait(self, watch: Any, interrupt: Any) -> Any:
        """Wait, and note how it ended."""
        self.last_wait = self.inner.wait(watch, interrupt)
        return self.last_wait

    def carry_out(self, task: PassTask, stop: Any) -> PassReport:
        """Carry out a pass, unless the rig is held or a gate is closed."""
        held = [hold.id for hold in self.inner.holds() if "-owes-" not in hold.id]
        assert not held, f"{task.name} starts on a held rig: {held}"
        if self.gated:
            opened = isinstance(self.last_wait, GatesOpened)
            marked = isinstance(self.last_wait, GateGaveUp) and self.mark
            assert opened or marked, f"{task.name} starts after {self.last_wait}"
        self.last_wait = None
        return self.inner.carry_out(task, stop)

    def run(self, command: d.Command) -> Any:
        """Run a put_back; the only thing that is allowed on a held rig."""
        return self.inner.run(command)


def meter(bench: RehearsedBench) -> Callable[[PassTask, PassReport], Measured]:
    """Return the meter of a rehearsal: it reads what the model played."""

    def measure(task: PassTask, report: PassReport) -> Measured:
        play = bench.played()
        if play.problem is not None:
            return Measured(problem=play.problem, fault="no-capture")
        if play.rate_fps is None:
            return Measured()
        figure = Figure(
            name="average_fps", value=play.rate_fps, unit="fps", definition="average-rate/1"
        )
        return Measured(figures=(figure,), frames=1000)

    return measure


def random_plan(rng: random.Random, *, cells: int | None = None) -> d.Plan:
    """Return a plan of about *cells* cells, or of a few."""
    if cells is not None:
        settings, titles, levels = 3, max(1, cells // 6), 2
    else:
        settings, titles, levels = rng.randint(1, 2), rng.randint(1, 3), rng.randint(1, 2)
    keep = rng.randint(1, 4)
    conditions = [
        d.Condition(
            name="power",
            by=d.By.COMMAND,
            changes=("gpu.power.limit",),
            levels=tuple(
                d.Level(
                    name=f"level-{n}",
                    command=d.Command(argv=("set-power", str(n)), time_limit_s=30.0),
                    put_back=d.Command(argv=("set-power", "0"), time_limit_s=30.0) if n else None,
                    expect=(d.Bound(reading="gpu.power.limit", unit="W", equals=200.0 + n),),
                )
                for n in range(levels)
            ),
        )
    ]
    if cells is None and rng.random() < 0.4:
        conditions.append(
            d.Condition(
                name="slot",
                by=d.By.OPERATOR,
                reboot=False,
                changes=("gpu.link.width",),
                levels=tuple(d.Level(name=n, say=f"Card in slot {n}.") for n in ("one", "two")),
            )
        )
    then = rng.choice(list(d.Then))
    gate = d.Gate(
        bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=rng.uniform(38, 60)),
        for_s=5.0,
        give_up_s=rng.uniform(30, 900),
        then=then,
    )
    at_most = keep + rng.randint(0, 4)
    return d.Plan(
        name="simulated",
        settings=tuple(d.Setting(name=f"s{n}", values=()) for n in range(settings)),
        titles=tuple(
            d.Title(
                title=f"Title {n}",
                scene="loop",
                settings=tuple(f"s{m}" for m in range(settings)),
                command=d.Command(argv=("title",), time_limit_s=120.0),
                cut=d.Cut(length_s=20.0),
            )
            for n in range(titles)
        ),
        conditions=tuple(conditions),
        passes=d.Passes(
            warm_up=d.WarmUp(passes=rng.randint(0, 2)),
            keep=keep,
            at_most=at_most,
            look_first=rng.random() < 0.5,
        ),
        gates=(gate,),
        limits=(d.Limit(bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=95.0)),),
        discard=(d.DiscardRule(rule="spread", on="average_fps", more_than=0.1),),
        order=d.Order(
            by=rng.choice(list(d.OrderBy)), visits=rng.randint(1, 2) if cells is None else 1
        ),
        faults=d.Faults(
            again=rng.randint(0, 2),
            then=rng.choice(list(d.FaultThen)) if cells is None else d.FaultThen.NEXT_CELL,
            stop_after=rng.randint(2, 4),
        ),
    )


@dataclass(slots=True)
class Night:
    """One simulated night: its plan, its rig, and what came of it."""

    seed: int
    plan: d.Plan
    journal: MemoryJournal
    bench: RehearsedBench
    starts: int = 0
    kills: int = 0
    holds: int = 0
    updates: int = 0
    faults: Counter[str] = field(default_factory=Counter)

    @property
    def records(self) -> list[r.Record]:
        """Return every record kept."""
        return [entry.record for entry in self.journal.entries()]


def play(seed: int, *, cells: int | None = None, kill: bool = True) -> Night:
    """Play one night to the end of its plan.

    Raises:
        AssertionError: an invariant does not hold.
    """
    rng = random.Random(seed)
    plan = random_plan(rng, cells=cells)
    clock = RehearsedClock()
    bad = Odds(
        exit=0.04, signal=0.02, time_limit=0.01, not_found=0.01, no_capture=0.02, guard=0.03,
        survivor=0.003, slept=0.01, outlier=0.05, command=0.05,
    )  # fmt: skip
    room = rng.uniform(20, 45)
    model = Model(
        chance=rng,
        noise=rng.uniform(0.001, 0.02),
        odds=bad,
        parts={"gpu.temperature": Thermal(room_c=room, hot_c=rng.uniform(70, 100), tau_s=90.0)},
    )
    bench = RehearsedBench(clock, model)
    witness = Witness(bench)
    witness.mark = plan.gates[0].then is d.Then.MARK
    night = Night(seed=seed, plan=plan, journal=MemoryJournal(), bench=bench)
    _start(night, clock)
    boot, grid = 1, Grid.of(plan)
    state = fold(begin(grid), night.records)
    while True:
        if night.starts > 60 or night.holds > 25:
            # The rig is mended: the night must come to its end now.
            model.odds = Odds()
            model.parts = {"gpu.temperature": Thermal(room_c=20.0, hot_c=70.0, tau_s=90.0)}
            kill = False
        night.starts += 1
        assert night.starts < 200, "the night never ends"
        fate = Fate(rng.randint(1, 400 if cells is None else 80 * cells) if kill else -1)
        clock.person = _person(night, state, rng)
        loop = Loop(
            state=state,
            bench=Mortal(witness, fate),
            journal=Mortal(night.journal, fate),
            clock=clock,
            meter=meter(bench),
            boot=f"boot-{boot}",
            stop=_stopper(rng),
        )
        try:
            outcome = loop.carry_on()
        except Killed:
            night.kills += 1
            if rng.random() < 0.3:
                boot += 1
                bench.running = None
            if rng.random() < 0.1:
                night.updates += 1
                bench.fields["gpu.driver"] = f"1.{night.updates}"
            state = fold(begin(grid), night.records)
            continue
        state = fold(begin(grid), night.records)
        assert loop.state == state, "the state is not the fold"
        if outcome is Outcome.FINISHED:
            break
        if outcome is Outcome.HELD:
            night.holds += 1
            for hold in bench.holds():
                bench.release(Release(hold=hold.id, by="Ana", note="looked at", at=hold.at))
    check(night)
    return night


def _start(night: Night, clock: RehearsedClock) -> None:
    started = r.RunStarted(
        run=f"night-{night.seed}",
        plan="{}",
        plan_hash="",
        plan_file="",
        rig="rehearsed",
        harness="0",
    )
    night.journal.append([started], at=clock.now(), boot="boot-1")


def _person(night: Night, state: Any, rng: random.Random) -> Callable[[], float | None]:
    def come() -> float | None:
        step = state.step.step if rng.random() < 0.9 else 99
        night.journal.put(r.Request(number=0, kind=r.RequestKind.CONFIRM, by="Ana", step=step))
        return 600.0

    return come


def _stopper(rng: random.Random) -> Callable[[], bool]:
    at = rng.randint(1, 300) if rng.random() < 0.3 else 0
    asked = 0

    def stop() -> bool:
        nonlocal asked
        asked += 1
        return 0 < at <= asked

    return stop


def check(night: Night) -> None:
    """Hold the invariants against the records alone, without the machine's own code."""
    keep, at_most = night.plan.passes.keep, night.plan.passes.at_most
    started: dict[tuple[str, int], r.PassStarted] = {}
    ended: set[tuple[str, int]] = set()
    verdicts: dict[tuple[str, int], Verdict] = {}
    discarded: set[tuple[str, int]] = set()
    closed: dict[str, r.CellClosed] = {}
    counted: Counter[tuple[str, int]] = Counter()
    held = False
    for record in night.records:
        match record:
            case r.PassStarted():
                key = (record.cell, record.attempt)
                assert key not in started, f"attempt {key} was started twice"
                assert not held, f"attempt {key} was started on a held rig"
                assert record.cell not in closed, f"attempt {key} in a closed cell"
                started[key] = record
            case r.PassEnded():
                assert (record.cell, record.attempt) in started
                assert (record.cell, record.attempt) not in ended, "a pass ended twice"
                ended.add((record.cell, record.attempt))
            case r.PassJudged():
                key = (record.cell, record.attempt)
                assert key in ended and key not in verdicts
                verdicts[key] = record.verdict
                if record.fault:
                    night.faults[record.fault] += 1
                if not started[key].warm_up and record.verdict is not Verdict.INTERRUPTED:
                    counted[record.cell, started[key].group] += 1
            case r.PassSkipped():
                if not record.warm_up:
                    counted[record.cell, record.group] += 1
            case r.PassDiscarded():
                key = (record.cell, record.attempt)
                assert verdicts[key] is Verdict.KEPT, "a rule discarded what was not kept"
                if record.discarded:
                    discarded.add(key)
            case r.CellClosed():
                assert record.cell not in closed, "a cell was closed twice"
                closed[record.cell] = record
            case r.RigHeld():
                held = True
            case r.RigReleased():
                held = False
            case _:
                pass
    assert set(verdicts) == set(started), "a pass has no verdict"
    for cell, times in counted.items():
        assert times <= at_most, f"{cell} used {times} passes, {at_most} allowed"
    for cell_key, record in closed.items():
        keys = [(cell_key, attempt) for attempt in record.kept]
        assert len(set(keys)) == len(keys)
        for key in keys:
            assert verdicts[key] is Verdict.KEPT and key not in discarded
            assert not started[key].warm_up
            assert started[key].group == record.group, "passes of two groups in one cell"
        if record.state is r.CellState.ACCEPTED:
            assert len(keys) == keep, f"accepted with {len(keys)} of {keep}"
    state = fold(begin(Grid.of(night.plan)), night.records)
    assert set(closed) == set(state.progress), "the plan is not finished"
    names = [f"{cell}-{attempt:03d}" for cell, attempt in started]
    launched = Counter(night.bench.launched)
    assert set(launched) <= set(names), "something was launched without a record"
    assert all(times == 1 for times in launched.values()), "an attempt was launched twice"


def main() -> int:
    """Play nights and print what was played."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--nights", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--cells", type=int, default=None)
    args = parser.parse_args()
    began = time.perf_counter()
    kills = holds = starts = passes = 0
    faults: Counter[str] = Counter()
    for seed in range(args.first, args.first + args.nights):
        try:
            night = play(seed, cells=args.cells)
        except BaseException:
            print(
                f"night {seed} failed; replay: python scripts/nights.py --nights 1 --first {seed}"
            )
            raise
        kills, holds, starts = kills + night.kills, holds + night.holds, starts + night.starts
        passes += sum(isinstance(record, r.PassStarted) for record in night.records)
        faults += night.faults
    took = time.perf_counter() - began
    print(f"{args.nights} nights, {passes} passes, {starts} starts of a runner")
    print(f"{kills} kills, {holds} holds")
    print(f"{took:.1f} s, {args.nights / took:.0f} nights a second; every invariant held")
    for fault, times in faults.most_common():
        print(f"  {fault:<20} {times}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
