"""Whether a store still holds what was kept: every hash, every number, every bundle.

Touches disk: reads, changes nothing.
"""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator, Sequence
from typing import Any

from harness.errors import Problem, StoreError
from harness.run.records import BundleRef
from harness.store.rows import NO_HASH, Row, from_row, seal
from harness.store.salvage import DO
from harness.store.sqlite import Store

_DO_RECORDS = "compare with a copy of the store; no later record of this run can be relied on"
_DO_ORPHAN = (
    "nothing: a runner died before it could write the record, and the next one kept what was "
    "there by then; or a runner is at work and is about to name it"
)
_DO_HARMED = "leave it there: it may be that of a record that is not as it was kept"


def problems(store: Store, run: str, *, bundles: bool = True) -> Iterator[Problem]:
    """Return what is not as it was kept in *run*: errors, and orphans as warnings.

    Args:
        store: The store, open for reading.
        run: The run.
        bundles: Whether every bundle is read through as well.
    """
    previous, seq, harmed = NO_HASH, 0, False
    counted = store.health().counted(run)  # asked first: more may be kept meanwhile
    for row in store.rows(run):
        for what in _row_problems(row, previous, seq + 1):
            harmed = True
            yield Problem(
                code="record-not-as-kept",
                what=f"record {row.seq} ({row.kind}) {what}",
                where=(f"run {run}", f"kept at {row.at}"),
                do=_DO_RECORDS,
            )
        previous, seq = row.hash, row.seq
        if row.kind == "pass-ended":
            yield from _bundle_problems(store, row, read=bundles)
    gone = _gone(seq, counted)
    if gone:
        harmed = True
        yield Problem(code="record-not-as-kept", what=gone, where=(f"run {run}",), do=_DO_RECORDS)
    for path in store.orphans(run):
        yield Problem(
            code="bundle-orphan",
            what="no record names this bundle",
            where=(path,),
            do=_DO_HARMED if harmed else _DO_ORPHAN,
            severity="warning",
        )


def _gone(seq: int, counted: int) -> str:
    """Return in words what is gone after record *seq*; no hash of a later record tells of that."""
    if seq >= counted:
        return ""
    many = f"records {seq + 1} to {counted} are" if counted > seq + 1 else f"record {counted} is"
    return f"{many} gone: counted when kept, and not there any more"


def without_start(run: str) -> Problem:
    """Return what is wrong with a *run* that has no record, as no command leaves one."""
    return Problem(
        code="record-not-as-kept",
        what="the run has no record, not even of its start",
        where=(f"run {run}",),
        do=_DO_RECORDS,
    )


def problems_of_file(store: Store) -> Iterator[Problem]:
    """Yield what SQLite itself finds wrong with the file of the records."""
    for what in store.health().faults_of_file():
        yield Problem(code="store-damaged", what=f"the store is damaged: {what}", do=DO)


def problems_of_comparisons(store: Store) -> Iterator[Problem]:
    """Yield what is not as it was kept among the comparisons made despite differences."""
    yield from store.comparisons().problems()


def _mend(store: Store) -> str:
    return f"`harness verify {shlex.quote(str(store.folder))} --mend`"


def problems_of_folder(store: Store, runs: Sequence[str]) -> Iterator[Problem]:
    """Yield what lies among the bundles and belongs to no run, and files never finished.

    Args:
        store: The store, open for reading.
        runs: Every run it has.
    """
    known, health = set(runs), store.health()
    for path in health.strangers():
        yield Problem(
            code="foreign-file",
            what="this lies among the bundles and is none of the store's files",
            where=(path,),
            do="nothing here relies on it: move it elsewhere",
            severity="warning",
        )
    for name in health.bundle_folders():
        if name not in known:
            yield Problem(
                code="bundles-of-no-run",
                what="the store has bundles of a run that it has no record of",
                where=(f"bundles/{name}",),
                do="see whether they belong to another store, and move them there; nothing here "
                "relies on them",
                severity="warning",
            )
            continue
        for path in health.unfinished(name):
            yield Problem(
                code="bundle-unfinished",
                what="a bundle was never finished: the runner died while it wrote it",
                where=(path,),
                do=f"{_mend(store)} removes it; what it was made of lies in the attempt's folder "
                "until the next runner has kept it",
                severity="warning",
            )


def problems_of_standing(store: Store, run: str) -> Iterator[Problem]:
    """Yield a warning where the cache of how *run* stands is not what its records say."""
    wrong = store.health().standing_faults(run)
    if wrong:
        yield Problem(
            code="standing-wrong",
            what="what `harness status` shows of the run is not what its records say",
            where=(f"run {run}", *wrong),
            do=f"{_mend(store)} drops it, and it is counted again; no record is concerned",
            severity="warning",
        )


def _row_problems(row: Row, previous: str, seq: int) -> Iterator[str]:
    if row.seq != seq:
        yield f"stands where record {seq} should"
    if row.previous != previous:
        yield "does not follow the one before it"
    sealed = seal(
        run=row.run,
        seq=row.seq,
        previous=row.previous,
        at=row.at,
        boot=row.boot,
        kind=row.kind,
        version=row.version,
        body=row.body,
    )
    if row.hash != sealed:
        yield "was changed: its hash is not that of what it says"
        return
    try:
        record = from_row(
            seq=row.seq,
            at=row.at,
            boot=row.boot,
            kind=row.kind,
            version=row.version,
            body=row.body,
        ).record
    except StoreError as error:
        yield error.problems[0].what
        return
    found = (getattr(record, "cell", None), getattr(record, "attempt", None))
    if found != (row.cell, row.attempt):
        yield f"is filed under cell {row.cell}, pass {row.attempt}, and says {found}"


def _bundle_problems(store: Store, row: Row, *, read: bool) -> Iterator[Problem]:
    try:
        bundle: Any = json.loads(row.body)["bundle"]
    except (ValueError, KeyError, TypeError):
        return  # the record itself has been named
    if bundle is None:
        return
    ref = BundleRef(
        path=bundle["path"],
        sha256=bundle["sha256"],
        members=tuple((name, sha256, size) for name, sha256, size in bundle["members"]),
    )
    try:
        store.check_bundle(ref, read=read)
    except StoreError as error:
        for problem in error.problems:
            where = (*problem.where, f"named by record {row.seq} of run {row.run}")
            yield Problem(code=problem.code, what=problem.what, where=where, do=problem.do)
