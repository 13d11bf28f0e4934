"""A checkpoint of the fold: the state of a run as it stood at one of its records.

Touches disk. A cache beside the records, one file a run, so that a run of a million records is
taken up as quickly as one of a thousand: only what came after the checkpoint is folded. It may
be deleted at any time. It is believed only where everything about it fits:

- it was made by this very code: its name for the code is the SHA-256 of every module that takes
  part in the fold, so that no change of a record, of a rule or of the fold itself, however
  small, can go on from a state that the code before it made;
- it is whole, by its own SHA-256;
- the store still has, under its number and with its hash, the record that it was made at. That
  hash holds every one before it.

Otherwise the run is folded from its first record. It is written between passes only: one fsync,
once in ``EVERY`` records. Where it cannot be written, nothing is missing but time.
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import json
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from harness.errors import Problem, StoreError
from harness.plan.canonical import thaw
from harness.rules.gates import GateWatch
from harness.run.apply import fold
from harness.run.frozen_state import freeze_state, thaw_state
from harness.run.instructions import AwaitGates, Instruction, Leave
from harness.run.loop import Onlooker
from harness.run.records import Record, RunStarted
from harness.run.state import Grid, RunState, begin
from harness.store.files import DiskFiles, Files
from harness.store.rows import from_row
from harness.store.sqlite import Store

#: Where they lie in the store's folder.
FOLDER = "checkpoints"
#: After so many records another is written: to fold them takes less than a tenth of a second.
EVERY = 2_000

#: Folders of harness/ whose modules say what a record is and what it changes.
_CODE = ("plan", "rig", "rules", "run")
#: What these rely on, and what makes a record of its row.
_ALSO = ("errors.py", "units.py", "values.py", "store/bodies.py", "store/rows.py")


def run_started(store: Store, run: str) -> RunStarted:
    """Return the first record of *run*, without reading any other.

    Raises:
        StoreError: The run has none, or it is not that of its start.
    """
    for row in store.rows(run):
        record = from_row(
            seq=row.seq, at=row.at, boot=row.boot, kind=row.kind, version=row.version, body=row.body
        ).record
        if isinstance(record, RunStarted):
            return record
        break
    raise StoreError(
        Problem(
            code="run-without-start",
            what="the record of the run's start is gone, and with it its plan",
            where=(f"run {run}", str(store.folder)),
            do="see with `harness verify` what else is not as it was kept, and go on with a copy "
            "of the store",
        )
    )


def folded(store: Store, run: str) -> RunState:
    """Return the state of *run* after its last record, under its own frozen plan."""
    seq, state = latest(store, run, Grid.of(thaw(run_started(store, run).plan)))
    return fold(state, (entry.record for entry in store.entries(run, after=seq)))


def latest(store: Store, run: str, grid: Grid) -> tuple[int, RunState]:
    """Return a record's number and the state after it: the checkpoint's; 0 where none is sound.

    Args:
        store: The store.
        run: The run.
        grid: Of its frozen plan.
    """
    found = _read(store, run)
    if found is not None:
        seq, text = found
        with suppress(KeyError, TypeError, ValueError):  # else it is not what this code makes
            return seq, thaw_state(text, grid)
    return 0, begin(grid)


def keep(store: Store, state: RunState, *, files: Files | None = None) -> None:
    """Write a checkpoint of *state*, which is that after the last record of its run.

    Raises:
        OSError: It could not be written; the one before it, if any, is still there.
    """
    code = code_name()
    if not code:
        return
    disk = files if files is not None else DiskFiles()
    seq = store.run(state.run).standing.seq
    body = freeze_state(state).encode("utf-8", "surrogatepass")
    head = {
        "run": state.run,
        "seq": seq,
        "record": _hash_of(store, state.run, seq),
        "code": code,
        "state": hashlib.sha256(body).hexdigest(),
    }
    target = path_of(store.folder, state.run)
    part = target.with_name(f".{target.name}.part")
    disk.make_folder(target.parent)
    with disk.create(part) as file:
        file.write(json.dumps(head).encode() + b"\n" + body)
        disk.sync(file)
    disk.replace(part, target)


def problems_of_checkpoint(store: Store, run: str) -> Iterator[Problem]:
    """Yield a warning where the checkpoint of *run* is believed and is not the fold."""
    if _read(store, run) is None:
        return
    seq, state = latest(store, run, Grid.of(thaw(run_started(store, run).plan)))
    if seq == 0:
        return
    upto = itertools.islice(store.entries(run), seq)
    if fold(begin(state.grid), (entry.record for entry in upto)) != state:
        yield Problem(
            code="checkpoint-wrong",
            what=f"the checkpoint at record {seq} is not what the records up to it come to",
            where=(f"run {run}", str(path_of(store.folder, run))),
            do="remove that file, or give `harness verify --mend`: it is a cache, and no record "
            "is concerned; then report this as a fault of the harness",
            severity="warning",
        )


def forget(store: Store, run: str) -> None:
    """Remove the checkpoint of *run*: it is made again from the records."""
    path_of(store.folder, run).unlink(missing_ok=True)


def path_of(folder: Path, run: str) -> Path:
    """Return where the checkpoint of *run* lies in the store in *folder*."""
    return folder / FOLDER / f"{run}.json"


@functools.cache
def code_name() -> str:
    """Return the name of the code that folds; empty where its source is not there to be read."""
    digest = hashlib.sha256()
    for path in (found := sources()):
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest() if found else ""


def sources() -> tuple[Path, ...]:
    """Return the modules that take part in the fold; none where their source is not there."""
    top = Path(__file__).parent.parent
    found = sorted(path for folder in _CODE for path in (top / folder).glob("*.py"))
    return (*found, *(top / name for name in _ALSO)) if found else ()


def _read(store: Store, run: str) -> tuple[int, str] | None:
    """Return the number of its record and the text of a checkpoint that is to be believed."""
    try:
        head, _, body = path_of(store.folder, run).read_bytes().partition(b"\n")
        told = json.loads(head)
        fits = (
            told["run"] == run
            and told["code"] == code_name() != ""
            and told["state"] == hashlib.sha256(body).hexdigest()
            and told["record"] == _hash_of(store, run, told["seq"])
        )
        return (told["seq"], body.decode("utf-8", "surrogatepass")) if fits else None
    except (OSError, KeyError, TypeError, ValueError):
        return None  # there is none, or it is no checkpoint


def _hash_of(store: Store, run: str, seq: int) -> str | None:
    """Return the hash of one record; None where the store has no such record."""
    for row in store.rows(run, after=seq - 1):
        return row.hash if row.seq == seq else None
    return None


class Checkpointing(Onlooker):
    """Writes checkpoints between passes, and passes on what it is told.

    Args:
        inner: Who else looks on.
        store: The store, open for writing.
        run: The run; what the checkpoint that is there does not hold counts as new.
        files: The disk; a fake in tests.
        every: After how many records another is written.
    """

    def __init__(
        self,
        inner: Onlooker,
        store: Store,
        run: str,
        *,
        files: Files | None = None,
        every: int = EVERY,
    ) -> None:
        self._inner, self._store, self._files, self._every = inner, store, files, every
        found = _read(store, run)
        self._since = store.run(run).standing.seq - (found[0] if found is not None else 0)

    def kept(self, state: RunState, record: Record) -> None:
        """Count it."""
        self._since += 1
        self._inner.kept(state, record)

    def next(self, state: RunState, instruction: Instruction) -> None:
        """Write a checkpoint where it is time, and no pass is in progress."""
        if self._since >= self._every and isinstance(instruction, (AwaitGates, Leave)):
            # A cache: what is wrong with the disk is said where a record cannot be kept.
            with suppress(OSError):
                keep(self._store, state, files=self._files)
                self._since = 0
        self._inner.next(state, instruction)

    def waits(self, watch: GateWatch) -> None:
        """Pass it on."""
        self._inner.waits(watch)
