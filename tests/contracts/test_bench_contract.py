from __future__ import annotations

import errno
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from harness.plan.document import Command
from harness.rig.clock import MachineClock
from harness.rig.model import Model
from harness.rig.readings import Reading, measured, not_measured
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.sensors.own_work import OwnWork
from harness.rig.sensors.registry import machine_sensors
from harness.rig.sensors.sensors import Sensors
from harness.rig.tasks import CommandEnd, EndedBy, PassTask
from harness.run.ports import Bench
from tests.contracts.bench_contract import BenchContract, Titles, Workbench
from tests.end_to_end.rigs import bench, title


@dataclass
class Given:
    bench: Bench
    titles: Titles
    quick: Command
    card: Card

    def lose_card(self, what: str) -> None:
        self.card.lost = what

    def lose_reading(self, name: str, why: str) -> None:
        self.card.why[name] = why


class Card:
    """A source that is a device at 40 °C, whose readings and which itself can be lost."""

    where, names, each_tick = "a card", ("gpu.temperature",), True
    identity = "Heron 700"

    def __init__(self) -> None:
        self.lost: str | None = None
        self.why: dict[str, str] = {}

    def read(self, at_s: float) -> Mapping[str, Reading]:
        if self.lost is not None:
            raise OSError(errno.EIO, self.lost)
        why = self.why.get("gpu.temperature")
        read = measured("gpu.temperature", 40.0) if why is None else None
        return {"gpu.temperature": read or not_measured("gpu.temperature", why or "")}


class Rest:
    """Every other reading of this machine, as one source."""

    where, each_tick = "this machine", True

    def __init__(self, machine: Sensors) -> None:
        self._machine = machine
        self.names = machine.names

    def read(self, at_s: float) -> Mapping[str, Reading]:
        return self._machine.sample().readings


@dataclass
class GivenRehearsed(Given):
    rehearsed: RehearsedBench

    def lose_card(self, what: str) -> None:
        self.rehearsed.device_lost = what
        self.lose_reading("gpu.temperature", what)

    def lose_reading(self, name: str, why: str) -> None:
        self.rehearsed.lost[name] = why


class TestRealBench(BenchContract):
    @pytest.fixture
    def workbench(self, tmp_path: Path) -> Workbench:
        (tmp_path / "fen").write_text("build 7")
        well = replace(title("true"), build_files=("fen",))
        endless = title("sleep", "60", time_limit_s=0.2)
        card, clock = Card(), MachineClock()
        rest = Rest(machine_sensors(store=tmp_path, clock=clock, own=OwnWork()))
        return Given(
            bench=bench(tmp_path, sensors=Sensors((card, rest), now_s=clock.steady_s)),
            card=card,
            titles=Titles(well=well, endless=endless, missing=title("copper-fen")),
            quick=Command(argv=("true",), time_limit_s=5.0),
        )


class _Played(Model):
    """A model that knows which of the contract's titles it is given."""

    def play(self, task: PassTask):  # type: ignore[no-untyped-def]
        argv, limit_s = task.title.command.argv, task.title.command.time_limit_s
        played = super().play(task)
        if argv[0] == "copper-fen":
            end = CommandEnd(argv=argv, by=EndedBy.NOT_FOUND, wall_s=0.0)
            return replace(played, wall_s=0.0, end=end)
        if argv[0] == "sleep":
            end = CommandEnd(argv=argv, by=EndedBy.TIME_LIMIT, wall_s=limit_s)
            return replace(played, wall_s=limit_s, end=end)
        return played


class TestRehearsedBench(BenchContract):
    @pytest.fixture
    def workbench(self) -> Workbench:
        model = _Played(
            chance=random.Random(7),
            constants={"memory.available": 16.0, "cpu.load": 3.0, "gpu.temperature": 40.0},
        )
        rehearsed = RehearsedBench(RehearsedClock(), model)
        return GivenRehearsed(
            card=Card(),
            bench=rehearsed,
            rehearsed=rehearsed,
            titles=Titles(
                well=title("true", time_limit_s=600.0),
                endless=title("sleep", "60", time_limit_s=0.2),
                missing=title("copper-fen"),
            ),
            quick=Command(argv=("true",), time_limit_s=5.0),
        )
