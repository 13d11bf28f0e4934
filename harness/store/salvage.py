"""What can be saved of a store whose database cannot be opened, or is damaged.

Touches disk: reads, changes nothing. Bundles carry the SHA-256 of their content in their
names, so that they can be told to be whole without a database. Records are read as far as
SQLite gives them, run by run.
"""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

from harness.store.rows import NO_HASH, seal
from harness.store.sqlite_file import FILE

#: What to do with a damaged database, in order.
DO = (
    "copy the whole folder to a safe place before anything else; then put records.sqlite back "
    "from a copy made with `harness verify --backup`, or read out what can be read with SQLite's "
    f"own shell: sqlite3 {FILE} .recover | sqlite3 recovered.sqlite; every bundle opens by "
    "itself with tar --zstd -xf"
)

_COLUMNS = "seq, at, boot, kind, version, body, previous, hash"


def what_is_left(folder: Path) -> tuple[str, ...]:
    """Return in words what is whole in the store in *folder*, one line for each finding."""
    return (*_bundles(folder), *_records(folder / FILE))


def _bundles(folder: Path) -> tuple[str, ...]:
    whole, broken = 0, []
    for path in sorted((folder / "bundles").rglob("*.tar.zst")):
        named = path.name.removesuffix(".tar.zst").rpartition(".")[2]
        if _is_whole(path, named):
            whole += 1
        else:
            broken.append(path)
    if not whole and not broken:
        return ("no bundle is there",)
    lines = [f"{whole} of {whole + len(broken)} bundles are whole"]
    return (*lines, *(f"not whole: {path.relative_to(folder)}" for path in broken))


def _is_whole(path: Path, named: str) -> bool:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest() == named
    except OSError:
        return False


def _records(path: Path) -> tuple[str, ...]:
    try:
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
    except sqlite3.Error as error:
        return (f"no record can be read: {error}",)
    try:
        runs = [str(run) for (run,) in db.execute("SELECT run FROM runs ORDER BY number")]
        return tuple(_of_run(db, run) for run in runs)
    except sqlite3.Error as error:
        return (f"no record can be read: {error}",)
    finally:
        db.close()


def _of_run(db: sqlite3.Connection, run: str) -> str:
    """Return how many records of *run* are as they were kept, from its first on."""
    good, previous, end = 0, NO_HASH, ""
    try:
        rows = db.execute(f"SELECT {_COLUMNS} FROM entries WHERE run = ? ORDER BY seq", (run,))
        for seq, at, boot, kind, version, body, before, hash_ in rows:
            sealed = seal(
                run=run, seq=seq, previous=previous, at=at, boot=boot, kind=kind,
                version=version, body=body,
            )  # fmt: skip
            if (seq, before, hash_) != (good + 1, previous, sealed):
                end = f"; record {good + 1} is not as it was kept"
                break
            good, previous = seq, hash_
    except (sqlite3.Error, TypeError, ValueError) as error:
        end = f"; what comes after cannot be read ({error})"
    return f"run {run}: {good} records from the first on are as they were kept{end}"
