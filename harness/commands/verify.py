"""Whether the store still holds what was kept: every hash, every number, every bundle.

Everything is read through and nothing is changed: SQLite's own check of its file, the hash and
the sequence of every record, every bundle and every file in it, bundles that no record names,
and the files of the archive. Exit status 4 where anything kept is not as it was kept.

--backup FILE copies the records of a whole store to a new file, also while a runner writes; the
bundles are never changed once they are there, so any copying program does for them.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

from harness.errors import AskedError, Exit, Problem, RigError, StoreError, as_json, render
from harness.rig.locks import runner_at_work
from harness.settings import rig_folder, store_folder
from harness.store.checkpoints import forget, problems_of_checkpoint
from harness.store.footers import archive_files, footer_problems
from harness.store.salvage import DO, what_is_left
from harness.store.sqlite import Store, open_store
from harness.store.verify import (
    problems,
    problems_of_comparisons,
    problems_of_file,
    problems_of_folder,
    problems_of_standing,
    without_start,
)

SCHEMA = "harness.verify/1"

#: What the database may be refused for that leaves something to be saved.
_DAMAGED = ("store-damaged", "store-not-a-database", "records-missing")
_NO_DATABASE = "store-not-a-database"  #: it may never have been a store

#: Warnings that `--mend` puts right.
REPAIRABLE = frozenset({"bundle-unfinished", "checkpoint-wrong", "standing-wrong"})


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "folder", nargs="?", metavar="STORE", help="the store's folder (default: the usual one)"
    )
    parser.add_argument("--run", metavar="RUN", help="only this run")
    parser.add_argument(
        "--quick", action="store_true", help="see whether bundles are there; do not read them"
    )
    parser.add_argument("--backup", metavar="FILE", help="copy the records to this new file")
    parser.add_argument(
        "--mend",
        action="store_true",
        help="drop caches that are wrong and files that were never finished; no record",
    )
    parser.add_argument("--store", metavar="FOLDER", help="the same as STORE")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


@dataclass(slots=True, kw_only=True)
class _Found:
    """What was looked at, and what is wrong with it."""

    runs: list[dict[str, object]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    comparisons: int = 0  #: made despite differences
    archive: int = 0
    mended: bool = False

    @property
    def whole(self) -> bool:
        return not any(each.severity == "error" for each in self.problems)


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Look the store through and say what is not as it was kept."""
    folder = store_folder(args.folder or args.store)
    if args.backup is not None and Path(args.backup).exists():
        raise _target_exists(args.backup)
    if args.mend:
        _refuse_at_work()
    try:
        with open_store(folder, write=args.mend, check=False) as store:
            found = _looked_through(store, args)
            backup = args.backup if found.whole else None
            if backup is not None:
                _back_up(store, Path(backup))
    except StoreError as error:
        raise _with_what_is_left(error, folder) from error
    if args.json:
        print(json.dumps(_as_json(folder, found, backup), ensure_ascii=False), file=out)
    else:
        for line in _as_text(folder, found, args, backup):
            print(line, file=out)
    return Exit.WELL if found.whole else Exit.STORE


def _looked_through(store: Store, args: argparse.Namespace) -> _Found:
    found = _Found()
    found.problems += problems_of_file(store)
    if not found.whole:
        left = what_is_left(store.folder)
        last = found.problems[-1]
        found.problems[-1] = Problem(
            code=last.code, what=last.what, where=(*last.where, *left), do=last.do
        )
        return found
    names = [line.run for line in reversed(store.runs())]
    if args.run is not None:
        names = [store.run(args.run).run]
    else:
        found.problems += problems_of_folder(store, names)
    for name in names:
        found.problems += _of_run(store, name, args, found)
    found.problems += problems_of_comparisons(store)
    found.comparisons = len(store.comparisons().rows())
    files = archive_files(store.folder)
    found.archive = len(files)
    found.problems += footer_problems(files)
    if args.mend:
        _mend(store, names, found)
    return found


def _of_run(store: Store, name: str, args: argparse.Namespace, found: _Found) -> Iterator[Problem]:
    own = [*problems(store, name, bundles=not args.quick)]
    if not any(each.code == "record-not-as-kept" for each in own):
        own += problems_of_standing(store, name)
        own += problems_of_checkpoint(store, name)
        own += [] if store.run(name).standing.seq else [without_start(name)]
    records = bundles = 0
    for row in store.rows(name):
        records += 1
        bundles += row.kind == "pass-ended" and '"bundle":null' not in row.body.replace(" ", "")
    ok = not any(each.severity == "error" for each in own)
    found.runs.append({"run": name, "records": records, "bundles": bundles, "ok": ok})
    yield from own


def _mend(store: Store, names: Sequence[str], found: _Found) -> None:
    """Put right what no record and no bundle depends on, and take it off the list."""
    wrong = {each.code for each in found.problems} & REPAIRABLE
    if not wrong:
        return
    health = store.health()
    for name in names:
        health.remove_unfinished(name)
        if health.standing_faults(name):
            health.forget_standing(name)
        if "checkpoint-wrong" in wrong:
            forget(store, name)
    found.problems = [each for each in found.problems if each.code not in REPAIRABLE]
    found.mended = True


def _refuse_at_work() -> None:
    rig = rig_folder()
    owner = runner_at_work(rig) if rig.exists() else None
    if owner is not None:
        raise RigError(
            Problem(
                code="rig-busy",
                what="a runner is at work, and the store is mended only when none is",
                where=(f"process {owner.pid}, plan {owner.plan}",),
                do="wait until it has left, or stop it with Ctrl-C; without --mend the store can "
                "be looked through meanwhile",
            )
        )


def _back_up(store: Store, target: Path) -> None:
    """Copy the records, and look the copy through."""
    if not target.parent.is_dir():
        raise AskedError(
            Problem(
                code="no-such-folder",
                what="the copy is to lie in a folder that does not exist",
                where=(str(target.parent),),
                do="make the folder, or name another",
            )
        )
    store.copy_records(target)


def _target_exists(target: str) -> AskedError:
    return AskedError(
        Problem(
            code="target-exists",
            what="the records would be copied over a file that exists",
            where=(target,),
            do="name a file that does not exist",
        )
    )


def _with_what_is_left(error: StoreError, folder: Path) -> StoreError:
    """Return *error* with what can be saved, where the database itself is damaged."""
    told = [
        Problem(
            code=each.code,
            what=each.what,
            where=(*each.where, *what_is_left(folder)),
            do=f"{each.do}; or, if it was one: {DO}" if each.code == _NO_DATABASE else DO,
        )
        if each.code in _DAMAGED
        else each
        for each in error.problems
    ]
    return StoreError(told)


def _as_text(
    folder: Path, found: _Found, args: argparse.Namespace, backup: str | None
) -> Iterator[str]:
    yield f"store {folder}"
    for each in found.runs:
        state = "as it was kept" if each["ok"] else "NOT as it was kept"
        yield f"  {each['run']}: {each['records']} records, {each['bundles']} bundles, {state}"
    if found.comparisons:
        yield f"  comparisons made despite differences: {found.comparisons}"
    if found.archive:
        yield f"  archive: {found.archive} files"
    for problem in found.problems:
        yield ""
        yield render(problem)
    yield ""
    if found.mended:
        yield "Mended: what no record and no bundle depends on."
    how = "seen to be there" if args.quick else "read through"
    if found.whole:
        yield f"The store is as it was kept; every bundle was {how}."
    else:
        errors = sum(each.severity == "error" for each in found.problems)
        yield f"THE STORE IS NOT AS IT WAS KEPT: {errors} error{'s' if errors != 1 else ''}."
        if args.backup is not None:
            yield "No copy was made: it would take the place of a good one."
    if backup is not None:
        yield f"The records are copied to {backup}. Copy {folder / 'bundles'} beside it."


def _as_json(folder: Path, found: _Found, backup: str | None) -> dict[str, object]:
    return {
        "schema": SCHEMA,
        "store": str(folder),
        "ok": found.whole,
        "runs": found.runs,
        "comparisons": found.comparisons,
        "archive_files": found.archive,
        "problems": [
            {**as_json(each), "repairable": each.code in REPAIRABLE} for each in found.problems
        ],
        "mended": found.mended,
        "backup": backup,
    }
