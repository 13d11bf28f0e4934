from __future__ import annotations

import random
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from harness.plan.document import Command
from harness.rig.model import Model
from harness.rig.rehearsed import RehearsedBench, RehearsedClock
from harness.rig.tasks import CommandEnd, EndedBy, PassTask
from harness.run.ports import Bench
from tests.contracts.bench_contract import BenchContract, Titles, Workbench
from tests.end_to_end.rigs import bench, title


@dataclass
class Given:
    bench: Bench
    titles: Titles
    quick: Command


class TestRealBench(BenchContract):
    @pytest.fixture
    def workbench(self, tmp_path: Path) -> Workbench:
        (tmp_path / "fen").write_text("build 7")
        well = replace(title("true"), build_files=("fen",))
        endless = title("sleep", "60", time_limit_s=0.2)
        return Given(
            bench=bench(tmp_path),
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
            chance=random.Random(7), constants={"memory.available": 16.0, "cpu.load": 3.0}
        )
        return Given(
            bench=RehearsedBench(RehearsedClock(), model),
            titles=Titles(
                well=title("true", time_limit_s=600.0),
                endless=title("sleep", "60", time_limit_s=0.2),
                missing=title("copper-fen"),
            ),
            quick=Command(argv=("true",), time_limit_s=5.0),
        )
