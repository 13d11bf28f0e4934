"""The order of the steps, and what a breach of a limit does to it; no process is started."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

import pytest

from harness.plan.cells import Cell
from harness.plan.document import Command, Title
from harness.rig.attempt import fresh
from harness.rig.command import Commands
from harness.rig.crossings import LimitBreached
from harness.rig.originals import Originals
from harness.rig.process import Started
from harness.rig.steps import Steps as PassSteps
from harness.rig.steps import StepsEnd
from harness.rig.tasks import CommandEnd, EndedBy, PassTask

HOT = LimitBreached(
    reading="gpu.temperature", unit="°C", bound="at most 92 °C", value=96.0, why=None, at_s=1.0
)


@dataclass
class Onlooking:
    limit: LimitBreached | None = None
    finished: int = 0

    def begin(self, started: Started, *, each_tick: Callable[[], None]) -> None:
        raise AssertionError("no command is started here")

    def fileno(self) -> int:
        return -1

    def must_end(self) -> bool:
        return self.limit is not None

    def finish(self) -> None:
        self.finished += 1


@dataclass
class Script:
    """Commands that end as their name says: hot, bad, stays, or well."""

    flag: None = None
    folder: Path = Path()
    seen: list[tuple[str, Onlooking | None]] = field(default_factory=list)

    def carry_out(
        self, argv: tuple[str, ...], *, onlooker: Onlooking | None, **_: Any
    ) -> CommandEnd:
        self.seen.append((argv[0], onlooker))
        word = argv[0].split("-")[0]
        if word == "hot" and onlooker is not None:
            onlooker.limit = HOT
            return CommandEnd(argv=argv, by=EndedBy.LIMIT, wall_s=1.0)
        return CommandEnd(
            argv=argv,
            by=EndedBy.EXIT,
            wall_s=1.0,
            status=1 if word == "bad" else 0,
            survivors=("4711 stays",) if word == "stays" else (),
        )


@dataclass
class Steps:
    folder: Path
    script: Script = field(default_factory=Script)
    title: Onlooking = field(default_factory=Onlooking)
    made: list[Onlooking] = field(default_factory=list)

    def carry_out(self, *, prepare: str = "", title: str = "title", tidy: str = "") -> StepsEnd:
        def commands(words: str) -> tuple[Command, ...]:
            return tuple(Command(argv=(word,), time_limit_s=1.0) for word in words.split())

        def of_step() -> Onlooking:
            self.made.append(Onlooking())
            return self.made[-1]

        (command,) = commands(title)
        copper_fen = Title(
            title="Copper Fen",
            scene="causeway",
            settings=("fhd",),
            command=command,
            prepare=commands(prepare),
            tidy=commands(tidy),
        )
        return PassSteps(
            task=PassTask(
                run="run-1",
                cell=Cell(title="Copper Fen", scene="causeway", setting="fhd"),
                title=copper_fen,
                attempt=1,
                warm_up=False,
                fill={},
                watch=cast("Any", None),
            ),
            folder=fresh(self.folder, "a-001"),
            commands=cast("Commands", self.script),
            values={},
            token="",
            stop=lambda: False,
            onlooker=self.title,
            of_step=of_step,
            originals=Originals(self.folder / "rig"),
        ).carry_out()

    @property
    def names(self) -> list[str]:
        return [name for name, _ in self.script.seen]


@pytest.fixture
def steps(tmp_path: Path) -> Steps:
    return Steps(folder=tmp_path)


def test_every_step_beside_the_title_has_an_onlooker_of_its_own(steps: Steps) -> None:
    end = steps.carry_out(prepare="one two", tidy="three")
    assert (end.end.argv, end.failed_step, end.limit) == (("title",), None, None)
    assert [watch for _, watch in steps.script.seen] == [
        *steps.made[:2],
        steps.title,
        steps.made[2],
    ]
    assert [each.finished for each in (*steps.made, steps.title)] == [1, 1, 1, 1]


def test_after_a_breach_in_prepare_only_tidy_follows_and_no_limit_ends_it(steps: Steps) -> None:
    end = steps.carry_out(prepare="one hot-two three", tidy="hot-four five")
    assert steps.names == ["one", "hot-two", "hot-four", "five"]
    assert (end.failed_step, end.end.by, end.limit) == ("prepare 2", EndedBy.LIMIT, HOT)
    assert [watch for _, watch in steps.script.seen[2:]] == [None, None]


def test_a_breach_in_the_title_is_its_own_and_tidying_is_done(steps: Steps) -> None:
    end = steps.carry_out(title="hot-title", tidy="bad-one two")
    assert steps.names == ["hot-title", "bad-one", "two"]
    assert (end.end.argv, end.failed_step, end.limit) == (("hot-title",), None, HOT)


def test_a_breach_in_tidy_is_the_end_of_a_pass_that_went_well(steps: Steps) -> None:
    end = steps.carry_out(tidy="hot-one two")
    assert steps.names == ["title", "hot-one", "two"]
    assert (end.failed_step, end.end.by, end.limit) == ("tidy 1", EndedBy.LIMIT, HOT)


def test_a_breach_in_tidy_is_told_beside_the_failure_of_the_title(steps: Steps) -> None:
    end = steps.carry_out(title="bad-title", tidy="hot-one")
    assert (end.end.argv, end.failed_step, end.limit) == (("bad-title",), None, HOT)


def test_nothing_is_started_beside_what_outlived_a_breach(steps: Steps) -> None:
    end = steps.carry_out(title="stays-title", tidy="one")
    assert steps.names == ["stays-title"]
    assert end.end.survivors == ("4711 stays",)
