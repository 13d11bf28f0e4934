"""A run over the rehearsed bench, played from a script: what each pass does is written down."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from harness.plan import document as d
from harness.rig.model import Model, Play
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.tasks import CommandEnd, EndedBy, PassReport, PassTask, Release
from harness.rules.judgement import Measured
from harness.rules.rehearsed_meter import rehearsed_meter as meter
from harness.run import records as r
from harness.run.apply import fold
from harness.run.instructions import Outcome
from harness.run.loop import Loop
from harness.run.state import RunState, begin
from harness.store.memory import MemoryJournal

#: What one pass does: a frame rate, or a word.
Deed = float | str

_ENDS: dict[str, CommandEnd] = {
    "exits 3": CommandEnd(argv=("title",), by=EndedBy.EXIT, wall_s=5.0, status=3),
    "not found": CommandEnd(argv=("title",), by=EndedBy.NOT_FOUND, wall_s=0.0),
    "survives": CommandEnd(
        argv=("title",), by=EndedBy.EXIT, wall_s=5.0, status=0, survivors=("process 4711 title",)
    ),
}
_WELL = CommandEnd(argv=("title",), by=EndedBy.EXIT, wall_s=10.0, status=0)


class ScriptedModel(Model):
    """A model whose passes are written down; after the script every pass gives 100 fps."""

    deeds: list[Deed]

    def play(self, task: PassTask) -> Play:
        """Play the next deed of the script."""
        deed = self.deeds.pop(0) if self.deeds else 100.0
        if isinstance(deed, float):
            return Play(wall_s=10.0, end=_WELL, rate_fps=deed)
        if deed == "no capture":
            return Play(wall_s=10.0, end=_WELL, rate_fps=None, problem="no file was left")
        return Play(wall_s=5.0, end=_ENDS[deed], rate_fps=None)


@dataclass
class Rehearsal:
    """One run: its plan, what its passes do, and what came of it."""

    plan: d.Plan
    deeds: Sequence[Deed] = ()
    model: ScriptedModel = field(init=False)
    bench: RehearsedBench = field(init=False)
    clock: RehearsedClock = field(default_factory=RehearsedClock)
    journal: MemoryJournal = field(default_factory=MemoryJournal)
    boot: str = "boot-1"
    #: Reads the passes; None: what the model played.
    meter: Callable[[PassTask, PassReport], Measured] | None = None
    loop: Loop = field(init=False)

    def __post_init__(self) -> None:
        self.model = ScriptedModel(chance=random.Random(1), noise=0.0)
        self.model.deeds = list(self.deeds)
        self.bench = RehearsedBench(self.clock, self.model)
        started = r.RunStarted(
            run="run-1", plan="", plan_hash="", plan_file="", rig="rehearsed", harness="0"
        )
        self.journal.append([started], at=self.clock.now(), boot=self.boot)

    def go_on(self, **ports: Any) -> Outcome:
        """Carry the run on as a new runner would; return why it left."""
        bench = ports.pop("bench", self.bench)
        ports.setdefault("after", "run-1")  # no other run had the rig
        self.loop = Loop(
            state=self.folded(),
            bench=bench,
            journal=self.journal,
            clock=self.clock,
            meter=self.meter or meter(self.bench),
            boot=self.boot,
            **ports,
        )
        return self.loop.carry_on()

    def folded(self) -> RunState:
        """Return the fold of what is kept."""
        return fold(begin(self.plan), self.records)

    @property
    def records(self) -> list[r.Record]:
        return [entry.record for entry in self.journal.entries()]

    def of(self, kind: type[Any]) -> list[Any]:
        """Return the records of one kind."""
        return [record for record in self.records if isinstance(record, kind)]

    def verdicts(self) -> list[str]:
        """Return the verdict of every counted pass, in order."""
        warm = {(s.cell, s.attempt) for s in self.of(r.PassStarted) if s.warm_up}
        judged = self.of(r.PassJudged)
        return [j.verdict.value for j in judged if (j.cell, j.attempt) not in warm]

    def after(self, times: int, kind: type[Any]) -> Callable[[], bool]:
        """Return a stop that is raised once so many records of *kind* are kept."""
        return lambda: len(self.of(kind)) >= times

    def release(self) -> None:
        """Release the rig as a person would."""
        for hold in self.bench.holds():
            self.bench.release(Release(hold=hold.id, by="Ana", note="mended", at=hold.at))

    def ask(self, kind: r.RequestKind, **what: Any) -> None:
        """Put a request to the run."""
        self.journal.put(r.Request(number=0, kind=kind, by="Ana", **what))

    def confirms(self) -> Callable[[], float | None]:
        """Return a person who confirms whatever step is open, ten minutes after it was asked."""

        def come() -> float:
            self.ask(r.RequestKind.CONFIRM, step=self.loop.state.steps, attending=True)
            return 600.0

        return come


def plan(
    *,
    titles: int = 1,
    keep: int = 3,
    at_most: int = 6,
    warm_up: int = 0,
    **parts: Any,
) -> d.Plan:
    """Return a plan of *titles* cells for each combination of the levels given."""
    passes = parts.pop("passes", None) or d.Passes(
        warm_up=d.WarmUp(passes=warm_up), keep=keep, at_most=at_most
    )
    return d.Plan(
        name="scripted",
        settings=(d.Setting(name="fhd", values=(("size", "1920x1080"),)),),
        titles=tuple(
            d.Title(
                title=f"Title {n}",
                scene="loop",
                settings=("fhd",),
                command=d.Command(argv=("title",), time_limit_s=60.0),
                cut=d.Cut(length_s=10.0),
            )
            for n in range(titles)
        ),
        passes=passes,
        limits_none=True,
        **parts,
    )
