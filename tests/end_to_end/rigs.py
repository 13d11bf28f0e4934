"""A real bench with short patience, and passes for it to carry out."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from harness.plan.cells import Cell
from harness.plan.document import Bound, Command, Guard, Limit, Title
from harness.rig.bench import RealBench
from harness.rig.clock import MachineClock
from harness.rig.command import Patience
from harness.rig.crossings import ExpectNotMet, GuardBreached, LimitBreached, PassWatch
from harness.rig.readings import Sample
from harness.rig.sensors.own_work import OwnWork
from harness.rig.sensors.registry import machine_sensors
from harness.rig.sensors.sensors import Sensors
from harness.rig.stop import StopFlag
from harness.rig.tasks import PassReport, PassTask

FAKE = Path(__file__).with_name("fake_command.py")
SHORT = Patience(grace_s=0.3, linger_s=0.4, settle_s=1.0, ask_every_s=0.05)


@dataclass
class Watch:
    """A watch that only takes down what it is fed, and says so when told to."""

    limit: LimitBreached | None = None
    at_sample: int = 0
    guards: tuple[Guard, ...] = ()
    limits: tuple[Limit, ...] = ()
    expects: tuple[Bound, ...] = ()
    fed: list[tuple[Sample, float]] = field(default_factory=list)

    def feed(self, sample: Sample, *, into_s: float) -> LimitBreached | None:
        self.fed.append((sample, into_s))
        return self.limit if len(self.fed) > self.at_sample else None

    def breaches(self, *, wall_s: float) -> tuple[GuardBreached, ...]:
        return ()

    def not_met(self) -> tuple[ExpectNotMet, ...]:
        return ()


def bench(
    folder: Path,
    *,
    patience: Patience = SHORT,
    flag: StopFlag | None = None,
    sensors: Sensors | None = None,
    interval_s: float = 1.0,
) -> RealBench:
    clock, own = MachineClock(flag), OwnWork()
    return RealBench(
        state=folder / "rig",
        work=folder / "work",
        folder=folder,
        clock=clock,
        sensors=sensors or machine_sensors(store=folder, clock=clock, own=own),
        follow=own.follow,
        flag=flag,
        patience=patience,
        interval_s=interval_s,
    )


def title(
    *argv: str,
    time_limit_s: float = 5.0,
    prepare: Sequence[Sequence[str]] = (),
    tidy: Sequence[Sequence[str]] = (),
    collect: Sequence[str] = (),
) -> Title:
    def command(argv: Sequence[str]) -> Command:
        return Command(argv=tuple(argv), time_limit_s=time_limit_s)

    return Title(
        title="Copper Fen",
        scene="causeway",
        settings=("fhd",),
        command=command(argv),
        prepare=tuple(command(each) for each in prepare),
        tidy=tuple(command(each) for each in tidy),
        collect=tuple(collect),
    )


def fake(mode: str, **more: float) -> Title:
    argv = ("{python}", str(FAKE), mode, "{captures}/frames.csv")
    return title(*argv, **more)  # type: ignore[arg-type]


def python(code: str, *arguments: str) -> tuple[str, ...]:
    """Return a command that runs a few lines of Python; braces in it are doubled."""
    return (sys.executable, "-c", code.replace("{", "{{").replace("}", "}}"), *arguments)


def task(title: Title, *, attempt: int = 1, watch: PassWatch | None = None) -> PassTask:
    return PassTask(
        run="run-1",
        cell=Cell(title=title.title, scene=title.scene, setting="fhd"),
        title=title,
        attempt=attempt,
        warm_up=False,
        fill={"size": "1920x1080"},
        watch=watch or Watch(),
    )


def members(report: PassReport) -> dict[str, bytes]:
    return {member.name: member.path.read_bytes() for member in report.members}
