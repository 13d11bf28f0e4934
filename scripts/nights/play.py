"""One simulated night: the whole machine over a rehearsed rig, until its plan is finished.

Touches disk where the night is kept in SQLite. Everything is drawn from the night's seed.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

from harness.errors import StoreError
from harness.plan import document as d
from harness.rig.model import Model, Odds
from harness.rig.tasks import Member, PassReport, PassTask, Release
from harness.rig.thermal import Thermal
from harness.rules.rehearsed_meter import rehearsed_meter as meter
from harness.run import records as r
from harness.run.apply import apply, fold
from harness.run.instructions import Outcome
from harness.run.loop import Loop, Onlooker
from harness.run.state import Grid, RunState, begin
from harness.store.faulty_files import PowerCut
from nights.homes import Filling, Home, MemoryHome, SqliteHome
from nights.invariants import check
from nights.night import Night
from nights.plans import fuller, random_plan, warmer
from nights.world import Fate, Killed, Mischief, Mortal, Rig, SetClock, Witness

#: How often a night is asked for cells again after it has finished.
MOST_RERUNS = 2
#: After so many starts or holds the rig is mended, so that the night comes to its end.
MOST_STARTS, MOST_HOLDS = 60, 25

BAD = Odds(
    exit=0.04, signal=0.02, time_limit=0.01, not_found=0.01, no_capture=0.02, guard=0.03,
    survivor=0.003, slept=0.01, outlier=0.05, command=0.05,
)  # fmt: skip
TRICKS = Mischief(
    lie=0.004, jump=0.01, device_lost=0.002, not_given_back=0.002, full=0.003, low=0.04
)


class _Applied(Onlooker):
    """Counts the records that a runner has applied to its own state."""

    def __init__(self) -> None:
        self.count = 0

    def kept(self, state: RunState, record: r.Record) -> None:
        """Count it."""
        self.count += 1


def play(
    seed: int, *, cells: int | None = None, kill: bool = True, folder: Path | None = None
) -> Night:
    """Play one night to the end of its plan.

    Args:
        seed: Everything is drawn from it.
        cells: About how many cells the plan has; None: a few.
        kill: Whether runners are killed.
        folder: Where the night is kept in SQLite; None: it is kept in memory.

    Raises:
        AssertionError: an invariant does not hold.
    """
    rng, tricks = random.Random(seed), random.Random(f"tricks {seed}")
    plan = random_plan(rng, cells=cells)
    if cells is None:
        plan = fuller(warmer(plan, random.Random(f"warmer {seed}")), tricks)
    clock = SetClock()
    room = rng.uniform(20, 45)
    model = Model(
        chance=rng,
        noise=rng.uniform(0.001, 0.02),
        odds=BAD,
        parts={"gpu.temperature": Thermal(room_c=room, hot_c=rng.uniform(70, 100), tau_s=90.0)},
        constants={"disk.free": 100.0},
    )
    bench = Rig(clock, model)
    witness = Witness(
        bench, clock, tricks, dataclasses.replace(TRICKS), plan.gates[0].then is d.Then.MARK
    )
    started = r.RunStarted(
        run=f"night-{seed}", plan="{}", plan_hash="", plan_file="", rig="rehearsed", harness="0"
    )
    home: Home
    if folder is None:
        home = MemoryHome(started, clock.now())
    else:
        home = SqliteHome(started, clock.now(), folder=folder, rng=tricks)
    grid = Grid.of(plan)
    night = Night(seed=seed, plan=plan, home=home, bench=bench, offers=_offers(grid, tricks))
    try:
        _carry_through(night, grid, witness, rng, kill=kill, cells=cells, folder=folder)
        night.checked += witness.checked + check(night) + home.check()
        night.counts += witness.told
        night.counts["torn writes"] += getattr(home, "torn", 0)
        night.counts["gone on from a checkpoint"] += getattr(home, "resumed", 0)
        night.counts["passes"] = sum(isinstance(each, r.PassStarted) for each in night.records)
    finally:
        home.close() if folder is not None else None
    return night


def _carry_through(
    night: Night,
    grid: Grid,
    witness: Witness,
    rng: random.Random,
    *,
    kill: bool,
    cells: int | None,
    folder: Path | None,
) -> None:
    """Send runner after runner until the plan is finished."""
    bench, clock, tricks = night.bench, witness.clock, witness.rng
    boot, counts = 1, night.counts
    state, applied = fold(begin(grid), night.records), 1
    loud = bench if folder is None else _Leaving(bench, folder)
    witness.inner = loud  # type: ignore[assignment]
    while True:
        if counts["starts"] > MOST_STARTS or counts["holds"] > MOST_HOLDS:
            _mend(witness, night.plan)
            kill = False
            night.home.full(-1)
        counts["starts"] += 1
        assert counts["starts"] < 250, "the night never ends"
        fate = Fate(rng.randint(1, 400 if cells is None else 80 * cells) if kill else -1)
        clock.person = _person(night, state, rng)
        low = tricks.random() < witness.tricks.low
        bench.model.constants = {"disk.free": 0.5 if low else 100.0}
        known = _Applied()
        loop = None
        try:
            journal = Filling(night.home.journal(), tricks, witness.tricks.full)
            if witness.tricks.full and tricks.random() < 0.1:
                night.home.full(tricks.randint(0, 4))
            loop = Loop(
                state=state,
                bench=Mortal(witness, fate),
                journal=Mortal(journal, fate),
                clock=clock,
                meter=meter(bench),
                boot=f"boot-{boot}",
                stop=_stopper(rng),
                onlooker=night.home.watched(known),
                offers=night.offers if state.group == 0 else (),
            )
            outcome = loop.carry_on()
        except (Killed, PowerCut):
            counts["kills"] += 1
            if rng.random() < 0.3:
                boot += 1
                bench.running = None
                bench.in_force.clear()  # a machine that starts anew has its own defaults
            if rng.random() < 0.1:
                counts["updates"] += 1
                bench.fields["gpu.driver"] = f"1.{counts['updates']}"
            night.home.crash()
            state, applied = _caught_up(night, state, applied + known.count)
            continue
        except StoreError:
            counts["refused by the store"] += 1
            counts["holds"] += 1
            night.home.full(-1)
            _put_right(night)
            state, applied = _caught_up(night, state, applied + known.count)
            left = bench.in_force.get("power") in (None, "level-0") or witness.undo_failed
            assert left, "a level was left in force by a runner that the store refused"
            continue
        applied += known.count
        assert len(night.home.entries(applied)) == 0, "something is kept that nobody applied"
        _put_back_or_said(night, state)
        if outcome is Outcome.FINISHED:
            assert fold(begin(grid), night.records) == state, "the state is not the fold"
            owed = [hold.id for hold in bench.holds() if "-owes-" in hold.id]
            assert not owed or state.opened, f"{owed} holds the rig after the run has ended"
            night.checked += 2
            if counts["reruns"] >= MOST_RERUNS or rng.random() < 0.5:
                return
            _rerun(night, rng, [*grid.cells])
        if outcome is Outcome.HELD:
            counts["holds"] += 1
            _put_right(night)


def _caught_up(night: Night, state: RunState, applied: int) -> tuple[RunState, int]:
    """Return the state after what the dead runner had kept and not yet applied.

    At the end of the night the whole fold is held against it.
    """
    for entry in night.home.entries(applied):
        apply(state, entry.record)
        applied += 1
    night.checked += night.home.stands(state)
    return state, applied


def _put_back_or_said(night: Night, state: RunState) -> None:
    """What a level had changed is put back whenever a runner leaves, or it is on record."""
    owed = [each for each in state.put_back if each not in state.not_put_back]
    assert not owed, f"{owed} is left in force"
    changed = night.bench.in_force.get("power") not in (None, "level-0")
    assert not changed or "power" in state.not_put_back, (
        "a level is in force, and no record says so"
    )
    night.checked += 2


def _mend(witness: Witness, plan: d.Plan) -> None:
    """Make a world in which every gate of *plan* can open before it gives up."""
    model = witness.inner.model
    # Fans enough, so that no patience is too short; but a band must not be run through too soon.
    tau_s = 90.0 if plan.gates[0].preload else 20.0
    witness.tricks = Mischief()
    model.odds = Odds()
    model.parts = {"gpu.temperature": Thermal(room_c=20.0, hot_c=70.0, tau_s=tau_s)}


def _put_right(night: Night) -> None:
    """Do what a person does about a hold, and release the rig."""
    for hold in night.bench.holds():
        if "could not be put back: " in hold.reason:
            night.bench.in_force.clear()  # by hand
        night.bench.release(Release(hold=hold.id, by="Ana", note="looked at", at=hold.at))


class _Leaving:
    """A rehearsed rig whose passes leave a file, so that bundles are written."""

    def __init__(self, inner: Rig, folder: Path) -> None:
        self._inner, self._file = inner, folder / "frames.csv"
        self._file.write_text("frame,frame_ms\n1,6.9\n2,7.1\n", encoding="ascii")

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def carry_out(self, task: PassTask, stop: Callable[[], bool]) -> PassReport:
        """Carry out a pass."""
        report = self._inner.carry_out(task, stop)
        member = Member(name="captures/frames.csv", path=self._file)
        return dataclasses.replace(report, members=(member,))


def _person(night: Night, state: RunState, rng: random.Random) -> Callable[[], float | None]:
    def come() -> float | None:
        assert state.step is not None
        step = state.step.step if rng.random() < 0.9 else 99
        stays = rng.random() < 0.9
        night.home.put(
            r.Request(number=0, kind=r.RequestKind.CONFIRM, by="Ana", step=step, attending=stays)
        )
        return 600.0

    return come


def _rerun(night: Night, rng: random.Random, keys: list[str]) -> None:
    """Ask for some cells to be measured again, as a person does in the morning."""
    night.counts["reruns"] += 1
    cells = tuple(rng.sample(keys, rng.randint(1, min(2, len(keys)))))
    night.home.put(
        r.Request(number=0, kind=r.RequestKind.RERUN, by="Ana", note="looked odd", cells=cells)
    )


def _stopper(rng: random.Random) -> Callable[[], bool]:
    at = rng.randint(1, 300) if rng.random() < 0.3 else 0
    asked = 0

    def stop() -> bool:
        nonlocal asked
        asked += 1
        return 0 < at <= asked

    return stop


def _offers(grid: Grid, rng: random.Random) -> tuple[r.Offer, ...]:
    """Return some earlier cells, where the plan allows them to be taken."""
    if grid.plan.reuse is None:
        return ()
    usual = r.Usual(figure="average_fps", low=95.0, high=105.0, values=20)
    return tuple(
        r.Offer(
            cell=key,
            run="last-week",
            group=1,
            kept=tuple(range(2, 2 + grid.plan.passes.keep)),
            measured_at="2026-02-23T21:00:00+00:00",
            fields=(("os.build", rng.choice(["rehearsed 1", "rehearsed 1", "rehearsed 0"])),),
            usual=usual if rng.random() < 0.9 else None,
        )
        for key in grid.cells
        if rng.random() < 0.5
    )
