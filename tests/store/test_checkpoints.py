"""A checkpoint is the fold, is believed only where all of it fits, and may always be missing."""

from __future__ import annotations

import errno
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import pytest

from harness.__main__ import main
from harness.plan.canonical import freeze
from harness.run import records as r
from harness.run.apply import fold
from harness.run.instructions import AwaitGates, CarryOut, GoOn, Instruction, Leave, Outcome
from harness.run.loop import Onlooker
from harness.run.state import Grid, RunState, begin
from harness.store import bodies, checkpoints
from harness.store.checkpoints import (
    Checkpointing,
    folded,
    keep,
    latest,
    path_of,
    problems_of_checkpoint,
    run_started,
    sources,
)
from harness.store.faulty_files import FaultyFiles, PowerCut
from harness.store.sqlite import Store, open_store
from nights.night import Night
from nights.play import play
from tests.store.examples import AT, BOOT

RUN = "a-night"
WAIT = AwaitGates(cell="c", warm_up=False, gates=(), limits=())


@dataclass
class Kept:
    """A night in a SQLite store, of which only some records are kept yet."""

    store: Store
    night: Night
    records: list[r.Record]

    def go_on(self, upto: int | None = None) -> RunState:
        """Keep the records up to a number; return the state after the last of them."""
        journal = self.store.journal(RUN)
        there = self.store.run(RUN).standing.seq
        journal.append(self.records[there:upto], at=AT, boot=BOOT)
        return fold(begin(self.night.plan), self.records[:upto])


@pytest.fixture(scope="module")
def night() -> Night:
    return play(3)


@pytest.fixture
def kept(tmp_path: Path, night: Night) -> Iterator[Kept]:
    records = night.records
    records[0] = r.RunStarted(
        run=RUN, plan=freeze(night.plan), plan_hash="", plan_file="", rig="rehearsed", harness="0"
    )
    with open_store(tmp_path, write=True) as store:
        store.create_run(
            RUN, plan_name="n", plan_hash="9f", rig="rig", cells=1, at=AT, first=records[:1]
        )
        yield Kept(store, night, records)


def in_force(kept: Kept) -> int:
    return latest(kept.store, RUN, Grid.of(kept.night.plan))[0]


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 1.0])
def test_the_state_from_a_checkpoint_is_the_fold_of_all_records(kept: Kept, share: float) -> None:
    at = max(2, int(share * len(kept.records)))
    keep(kept.store, kept.go_on(at))
    whole = kept.go_on()
    assert in_force(kept) == at
    assert folded(kept.store, RUN) == whole


def test_no_record_before_the_checkpoint_is_read(
    kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(kept.store, kept.go_on(50))
    kept.go_on()
    asked = []
    entries = Store.entries

    def watched(self: Store, run: str, *, after: int = 0) -> object:
        asked.append(after)
        return entries(self, run, after=after)

    monkeypatch.setattr(Store, "entries", watched)
    folded(kept.store, RUN)
    assert asked == [50]


def test_the_first_record_is_read_alone(kept: Kept) -> None:
    kept.go_on()
    assert run_started(kept.store, RUN) == kept.records[0]


def test_without_a_checkpoint_the_run_is_folded_from_its_first_record(kept: Kept) -> None:
    keep(kept.store, kept.go_on(50))
    whole = kept.go_on()
    path_of(kept.store.folder, RUN).unlink()
    assert in_force(kept) == 0
    assert folded(kept.store, RUN) == whole


def test_a_checkpoint_of_other_code_is_not_believed(
    kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(kept.store, kept.go_on(50))
    assert in_force(kept) == 50
    monkeypatch.setattr(checkpoints, "code_name", lambda: "of tomorrow")
    assert in_force(kept) == 0


def test_every_module_that_takes_part_in_the_fold_counts() -> None:
    fold_alone = (
        "import sys; import harness.run.apply, harness.run.frozen_state, harness.store.rows, "
        "harness.plan.canonical; "
        "print(*(m.__file__ for n, m in sys.modules.items() if n.startswith('harness.')))"
    )
    done = subprocess.run(
        [sys.executable, "-c", fold_alone], capture_output=True, text=True, check=True
    )
    taking_part = {Path(name) for name in done.stdout.split()}
    empty = {path for path in taking_part if path.name == "__init__.py"}
    assert taking_part - empty <= set(sources())
    assert Path(bodies.__file__) in taking_part


def test_where_the_source_is_not_there_none_is_written(
    kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checkpoints, "code_name", lambda: "")
    keep(kept.store, kept.go_on(50))
    assert not path_of(kept.store.folder, RUN).exists()


def test_a_checkpoint_of_which_any_byte_is_another_is_not_believed(kept: Kept) -> None:
    keep(kept.store, kept.go_on(50))
    path = path_of(kept.store.folder, RUN)
    whole = path.read_bytes()
    for place in range(0, len(whole), 7):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert in_force(kept) in (0, 50)
        assert folded(kept.store, RUN) == fold(begin(kept.night.plan), kept.records[:50])


@pytest.mark.parametrize("rest", ["", "{}", "[]", "null", "7", "no JSON", '{"run": 1}\n{}'])
def test_what_is_no_checkpoint_is_passed_over(kept: Kept, rest: str) -> None:
    state = kept.go_on(50)
    path = path_of(kept.store.folder, RUN)
    path.parent.mkdir()
    path.write_text(rest)
    assert folded(kept.store, RUN) == state


def test_a_checkpoint_cut_short_is_not_believed(kept: Kept) -> None:
    state = kept.go_on(50)
    keep(kept.store, state)
    path = path_of(kept.store.folder, RUN)
    whole = path.read_bytes()
    for length in range(0, len(whole), 11):
        path.write_bytes(whole[:length])
        assert in_force(kept) == 0


def test_a_checkpoint_beside_an_older_copy_of_the_records_is_not_believed(
    kept: Kept, tmp_path: Path
) -> None:
    before = kept.go_on(40)
    older = tmp_path / "older"
    older.mkdir()
    kept.store.copy_records(older / "records.sqlite")
    keep(kept.store, kept.go_on(50))
    target = path_of(older, RUN)
    target.parent.mkdir()
    target.write_bytes(path_of(kept.store.folder, RUN).read_bytes())
    with open_store(older, write=False) as store:
        assert folded(store, RUN) == before


def test_it_takes_one_fsync(kept: Kept) -> None:
    state = kept.go_on(50)
    keep(kept.store, state)
    disk = FaultyFiles()
    keep(kept.store, state, files=disk)
    assert [verb for verb, _ in disk.done] == ["create", "write", "sync", "replace"]


def test_power_cut_at_any_call_leaves_a_sound_checkpoint_or_none(kept: Kept) -> None:
    keep(kept.store, kept.go_on(30))
    state = kept.go_on(50)
    for call in range(1, 6):
        disk = FaultyFiles(fail_at=call, error=None)
        with suppress(PowerCut):
            keep(kept.store, state, files=disk)
        disk.cut_power()
        assert in_force(kept) in (0, 30, 50)
        assert folded(kept.store, RUN) == state


def test_a_checkpoint_that_is_not_the_fold_is_told_by_verify_and_mended(
    kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(kept.store.folder / "rig"))
    state = kept.go_on(50)
    keep(kept.store, state)
    assert list(problems_of_checkpoint(kept.store, RUN)) == []
    state.holds += 1  # as a fault of the fold might
    keep(kept.store, state)
    (found,) = problems_of_checkpoint(kept.store, RUN)
    assert (found.code, found.severity) == ("checkpoint-wrong", "warning")

    folder, told = str(kept.store.folder), StringIO()
    main(["verify", folder], out=told, err=told)
    assert "the checkpoint at record 50 is not what the records up to it come to" in told.getvalue()
    main(["verify", folder, "--mend"], out=told, err=told)
    assert not path_of(kept.store.folder, RUN).exists()


class Told(Onlooker):
    """Notes what it is told."""

    def __init__(self) -> None:
        self.told: list[object] = []

    def kept(self, state: RunState, record: r.Record) -> None:
        self.told.append(record)

    def next(self, state: RunState, instruction: Instruction) -> None:
        self.told.append(instruction)


@pytest.mark.parametrize(
    ("instruction", "written"),
    [
        (WAIT, True),
        (Leave(outcome=Outcome.PAUSED), True),
        (GoOn(), False),
        (CarryOut(cell="c", attempt=1, warm_up=False, limits=()), False),
    ],
)
def test_it_is_written_between_passes_only(
    kept: Kept, instruction: Instruction, written: bool
) -> None:
    state = kept.go_on(50)
    Checkpointing(Onlooker(), kept.store, RUN, every=50).next(state, instruction)
    assert path_of(kept.store.folder, RUN).exists() is written


def test_it_is_written_once_in_so_many_records(kept: Kept) -> None:
    state = kept.go_on(49)
    watching = Checkpointing(Onlooker(), kept.store, RUN, every=50)
    watching.next(state, WAIT)
    assert in_force(kept) == 0
    state = kept.go_on(50)
    watching.kept(state, kept.records[49])
    watching.next(state, WAIT)
    assert in_force(kept) == 50
    Checkpointing(Onlooker(), kept.store, RUN, every=50).next(kept.go_on(60), WAIT)
    assert in_force(kept) == 50  # a runner that goes on counts from the checkpoint that is there


def test_a_full_disk_costs_the_run_nothing(kept: Kept) -> None:
    keep(kept.store, kept.go_on(30))
    state = kept.go_on(50)
    disk = FaultyFiles(fail_at=2, error=errno.ENOSPC)
    watching = Checkpointing(Onlooker(), kept.store, RUN, files=disk, every=1)
    watching.next(state, WAIT)
    assert in_force(kept) == 30
    watching.next(state, WAIT)  # there is room again
    assert in_force(kept) == 50


def test_whoever_else_looks_on_is_told_all(kept: Kept) -> None:
    state, other = kept.go_on(2), Told()
    watching = Checkpointing(other, kept.store, RUN)
    watching.kept(state, kept.records[1])
    watching.next(state, WAIT)
    assert other.told == [kept.records[1], WAIT]
