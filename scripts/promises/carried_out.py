"""Runs carried out with the package's own state machine and rules, every value drawn by chance.

What a pass gives, and which passes are void, is drawn; all else is the package: what closes a
cell, what a rule discards, how many passes a pilot asks for (``harness.run.closing``), how the
records become cells and sides (``harness.summary``). A run has many cells, so that it is quick.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from harness.plan.document import (
    By,
    Command,
    Condition,
    DiscardRule,
    Enough,
    Frames,
    Level,
    Order,
    Passes,
    Plan,
    Setting,
    Title,
    WarmUp,
)
from harness.rules.judgement import Figure, Verdict
from harness.run import records as r
from harness.run.apply import apply
from harness.run.closing import close
from harness.run.ports import Entry
from harness.run.state import Grid, Progress, RunState, owed
from promises.line import Chance

Floats = NDArray[np.float64]

#: Noise of one cell: so many standard normal deviates, or others with mean 0 and spread 1.
Noise = Callable[[Chance, int], Floats]

FIGURE = "average_fps"
BASE, AGAINST = "stock", "quiet"
SETTINGS = ("fhd", "uhd")
TRUTH = 100.0

_AT = datetime(2026, 11, 2, 22, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How a run is carried out.

    Args:
        keep: Kept passes wanted in every cell.
        spare: Counted passes beyond those.
        rules: Discard rules of the plan.
        enough: Half the interval wanted, by a pilot of ``keep`` passes; None: ``keep`` it is.
        visits: Visits to each level, a person's; 0: a command sets it.
        rounds: Whether both levels are measured in the same rounds, where a command sets them.
        void: Share of the passes that are void.
        sd: Noise of a pass, a share of the mean.
        own: Noise of a visit, likewise.
        margin: True margin of the other side.
        noise: Where the noise of the passes of one cell comes from.
    """

    keep: int
    spare: int = 4
    rules: tuple[DiscardRule, ...] = ()
    enough: float | None = None
    visits: int = 0
    rounds: bool = True
    void: float = 0.1
    sd: float = 0.01
    own: float = 0.0
    margin: float = 0.0
    noise: Noise = lambda chance, passes: chance.rng.standard_normal(passes)


@dataclass(slots=True)
class _Cell:
    """What is left to be drawn for one cell."""

    truth: float
    values: Iterator[float]
    void: Iterator[bool]
    visit: dict[int, float] = field(default_factory=dict)  #: error of each stay


def plan_of(way: Way, *, titles: int) -> Plan:
    """Return the plan of a run of so many titles, two settings and two levels."""
    by = By.OPERATOR if way.visits else By.COMMAND
    visits = max(1, way.visits)
    return Plan(
        name="promises",
        titles=tuple(
            Title(
                title=f"Lantern Quay {place}", scene="harbour loop", settings=SETTINGS,
                command=Command(argv=("title", "{way}"), time_limit_s=60.0),
                frames=Frames(file="f.csv", column="frame_ms", unit="ms"),
            )
            for place in range(titles)
        ),
        settings=tuple(Setting(name=name, values=(("size", name),)) for name in SETTINGS),
        conditions=(
            Condition(
                name="way", by=by, levels=tuple(Level(name=n, say="…") for n in (BASE, AGAINST))
            ),
        ),
        passes=Passes(
            keep=way.keep, at_most=_at_most(way), warm_up=WarmUp(passes=0),
        ),
        discard=way.rules,
        enough=None if way.enough is None else Enough(half_width=way.enough, figure=FIGURE),
        order=Order(visits=visits, rounds_within=None if way.rounds else "way"),
    )  # fmt: skip


def entries(chance: Chance, way: Way, *, titles: int, run: str = "run") -> tuple[Plan, list[Entry]]:
    """Return the plan of a run and every entry of it, from the first to the last."""
    plan = plan_of(way, titles=titles)
    state = RunState(grid=Grid.of(plan))
    state.progress = {key: Progress() for key in state.grid.cells}
    made: list[Entry] = []

    def keep(*records: r.Record) -> None:
        for record in records:
            apply(state, record)
            made.append(Entry(seq=len(made) + 1, at=_AT, boot="boot", record=record))

    keep(
        r.RunStarted(
            run=run, plan="{}", plan_hash="", plan_file="promises.yaml", rig="rig", harness="0"
        ),
        r.RunnerStarted(),
        r.GroupOpened(group=1, fields=()),
    )
    drawn = {key: _drawn(chance, way, cell.levels) for key, cell in state.grid.cells.items()}
    for block in range(len(state.grid.blocks)):  # every visit has blocks of its own
        keep(r.BlockOpened(block=block))
        _carry_out_block(chance, way, state, drawn, keep)
        keep(r.BlockClosed(block=block))
    return plan, made


def _carry_out_block(
    chance: Chance,
    way: Way,
    state: RunState,
    drawn: dict[str, _Cell],
    keep: Callable[..., None],
) -> None:
    assert state.block is not None
    block = state.grid.blocks[state.block]
    if way.visits:
        levels = state.grid.cells[block.cells[0]].levels
        step = state.steps + 1
        keep(
            r.StepAsked(step=step, levels=levels, say=("…",), opens_case=False, reboot=False),
            r.StepConfirmed(step=step, by="somebody", note=""),
        )
    round_no = 0
    while due := [key for key in block.cells if owed(state, key)]:
        round_no += 1
        for key in due:
            cell = drawn[key]
            if state.stay not in cell.visit:
                cell.visit[state.stay] = way.own * float(chance.rng.standard_normal())
            value = cell.truth * (1.0 + cell.visit[state.stay] + way.sd * next(cell.values))
            _carry_out_pass(state, key, value, keep, void=next(cell.void), round_no=round_no)


def _carry_out_pass(
    state: RunState,
    key: str,
    value: float,
    keep: Callable[..., None],
    *,
    void: bool,
    round_no: int,
) -> None:
    attempt = state.progress[key].attempts + 1
    figure = Figure(name=FIGURE, value=value, unit="fps", definition="frames-over-time/1")
    verdict = Verdict.VOID if void else Verdict.KEPT
    assert state.block is not None
    keep(
        r.PassStarted(
            cell=key, attempt=attempt, warm_up=False, group=1, block=state.block, round=round_no,
            waited_s=0.0, readings=(),
        ),
        r.PassEnded(cell=key, attempt=attempt, end=None, figures=(figure,)),
    )  # fmt: skip
    judged = r.PassJudged(cell=key, attempt=attempt, verdict=verdict, reason="drawn")
    # Decided before the verdict is applied, as ``decide`` does it.
    after = close(state, key, attempt, warm_up=False, verdict=verdict, figures=((FIGURE, value),))
    keep(judged, *after)


def _drawn(chance: Chance, way: Way, levels: Iterable[tuple[str, str]]) -> _Cell:
    most = _at_most(way)
    truth = TRUTH * (1.0 + way.margin) if AGAINST in dict(levels).values() else TRUTH
    return _Cell(
        truth=truth,
        values=iter(_listed(way.noise(chance, most))),
        void=iter((chance.rng.random(most) < way.void).tolist()),
    )


def _listed(values: Floats) -> Sequence[float]:
    listed: list[float] = values.tolist()
    return listed


def _at_most(way: Way) -> int:
    """Return the counted passes of a cell: where a pilot asks for more, four times as many."""
    return way.keep + way.spare if way.enough is None else max(40, 4 * way.keep)
