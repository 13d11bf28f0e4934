"""Figures 25 and 26: how quickly a night is rehearsed, and how many bad nights a second.

Touches the clock. Both are the whole machine in memory: the loop, the rules, the rehearsed
bench, the memory journal. They are seconds, not ratios, so each line also says how long this
machine takes for a fixed piece of plain Python, to hold numbers of two machines together.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Iterator

from bench.pairs import LEAST_PAIRS, Line, spread
from harness.plan import document as d
from harness.rig.model import Model
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.thermal import Thermal
from harness.rules.rehearsed_meter import rehearsed_meter as meter
from harness.run import records as r
from harness.run.instructions import Outcome
from harness.run.loop import Loop
from harness.run.state import begin
from harness.store.memory import MemoryJournal
from nights.play import play

KEEP = 5  # counted passes of a cell
SETTINGS, LEVELS = 5, 4
SIZES = (200, 2_000, 20_000)  # cells: 10^3, 10^4 and 10^5 passes
NIGHTS = 10  # in one turn


def night_plan(cells: int) -> d.Plan:
    """Return the plan of a night of *cells* cells: a gate, a limit, levels set by command."""
    names = tuple(f"s{number}" for number in range(SETTINGS))
    return d.Plan(
        name="night",
        settings=tuple(d.Setting(name=name, values=()) for name in names),
        titles=tuple(
            d.Title(
                title=f"Copper Fen {number}",
                scene="causeway",
                settings=names,
                command=d.Command(argv=("copper-fen",), time_limit_s=180.0),
                cut=d.Cut(length_s=60.0),
            )
            for number in range(cells // SETTINGS // LEVELS)
        ),
        conditions=(
            d.Condition(
                name="power",
                by=d.By.COMMAND,
                levels=tuple(
                    d.Level(
                        name=f"l{number}",
                        command=d.Command(argv=("power-limit", str(number)), time_limit_s=30.0),
                    )
                    for number in range(LEVELS)
                ),
            ),
        ),
        passes=d.Passes(warm_up=d.WarmUp(passes=0), keep=KEEP, at_most=KEEP + 3),
        gates=(
            d.Gate(
                bound=_at_most(50.0),
                for_s=10.0,
                give_up_s=900.0,
                then=d.Then.MARK,
            ),
        ),
        limits=(d.Limit(bound=_at_most(92.0)),),
        discard=(d.DiscardRule(rule="spread", on="average_fps", more_than=0.03, at_most=1),),
    )


def _at_most(degrees_c: float) -> d.Bound:
    return d.Bound(reading="gpu.temperature", unit="°C", at_most=degrees_c)


def rehearse(plan: d.Plan) -> tuple[float, int]:
    """Rehearse *plan* from its first record to its last; return seconds and passes."""
    began = time.perf_counter()
    chance, clock, journal = random.Random(11), RehearsedClock(), MemoryJournal()
    part = Thermal(room_c=24.0, hot_c=80.0, tau_s=90.0)
    bench = RehearsedBench(clock, Model(chance=chance, parts={"gpu.temperature": part}))
    loop = Loop(
        state=begin(plan),
        bench=bench,
        journal=journal,
        clock=clock,
        meter=meter(bench),
        boot="boot",
    )
    started = r.RunStarted(
        run="night", plan="{}", plan_hash="", plan_file="", rig="rehearsed", harness="0"
    )
    loop.keep([started])
    outcome = loop.carry_on()
    if outcome is not Outcome.FINISHED:
        raise RuntimeError(f"the rehearsal ended {outcome.value}")
    return time.perf_counter() - began, len(bench.launched)


def rehearsal() -> Iterator[Line]:
    """Figure 25: a thousand-cell night, and whether ten times the passes cost ten times."""
    plan = night_plan(1_000)
    took = [rehearse(plan) for _ in range(LEAST_PAIRS)]
    yield spread(
        f"rehearsal of 1 000 cells, {took[0][1]} passes",
        [seconds for seconds, _ in took],
        limit=5.0,
        unit="s",
        note=_machine(),
    )
    small, *larger = SIZES
    for cells in larger:
        # The largest takes most of a minute: few pairs of it, each beside a small one.
        pairs = LEAST_PAIRS if cells == larger[0] else 2
        yield spread(
            f"a pass of {KEEP * cells} / a pass of {KEEP * small}",
            [_cost(cells) / _cost(small, times=5) for _ in range(pairs)],
            limit=1.25,
        )


def _cost(cells: int, *, times: int = 1) -> float:
    """Return processor seconds a pass, in the middle of so many rehearsals."""
    plan, costs = night_plan(cells), []
    for _ in range(times):
        began = time.process_time()
        _, passes = rehearse(plan)
        costs.append((time.process_time() - began) / passes)
    return statistics.median(costs)


def bad_nights() -> Line:
    """Figure 26: seconds for 50 nights of 30 cells with kills and faults, invariants and all."""
    seeds = iter(range(0, (LEAST_PAIRS + 1) * NIGHTS, NIGHTS))
    took = []
    for first in seeds:
        began = time.process_time()
        for seed in range(first, first + NIGHTS):
            play(seed, cells=30)
        took.append((time.process_time() - began) * 50 / NIGHTS)
    return spread(
        "50 bad nights of 30 cells, one core",
        took[1:],
        limit=1.0,
        unit="s",
        note=_machine(),
    )


def _machine() -> str:
    """Return how long a fixed piece of plain Python takes here."""
    began, total = time.process_time(), 0
    found: dict[int, int] = {}
    for number in range(1_000_000):
        found[number & 255] = number
        total += found[number & 127]
    return f"a million dictionary steps take {(time.process_time() - began) * 1e3:.0f} ms here"


FIGURES = {25: rehearsal, 26: bad_nights}
