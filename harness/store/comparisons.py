"""Comparisons that were made despite differences: kept, and never changed.

Touches disk. They are no records of a run, since they may concern several, and no runner is
needed to keep one. Each is sealed as records are, over the hash of the one before.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from harness.errors import Problem, StoreError
from harness.store.made_despite import KeptComparison, MadeDespite, from_body, seal, to_body
from harness.store.rows import NO_HASH, at_text
from harness.store.sqlite_file import SqliteFile


class Comparisons:
    """The kept comparisons of a store. Made by ``Store.comparisons``."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def keep(self, made: MadeDespite, *, at: datetime) -> KeptComparison:
        """Keep a comparison, durably; one that is kept already, by the same person, is returned.

        Args:
            made: The comparison.
            at: When it was made, aware.

        Raises:
            StoreError: It could not be kept.
        """
        body = to_body(made)
        with self._file.writing():
            rows = self.rows()
            for number, when, kept, _, _ in rows:
                if kept == body:
                    return KeptComparison(number=number, at=datetime.fromisoformat(when), made=made)
            number, previous = (rows[-1][0] + 1, rows[-1][4]) if rows else (1, NO_HASH)
            instant = at_text(at)
            sealed = seal(number, instant, body, previous)
            self._file.ask("keep_comparison", (number, instant, body, previous, sealed))
        return KeptComparison(number=number, at=at, made=made)

    def rows(self) -> list[tuple[int, str, str, str, str]]:
        """Return them as they lie in the store: number, instant, body, hash before, hash."""
        return self._file.rows("comparisons")

    def all(self) -> tuple[KeptComparison, ...]:
        """Return every kept comparison, in order.

        Raises:
            StoreError: One of them does not read back.
        """
        return tuple(
            KeptComparison(
                number=number, at=datetime.fromisoformat(at), made=from_body(body, number)
            )
            for number, at, body, _, _ in self.rows()
        )

    def problems(self) -> Iterator[Problem]:
        """Yield what is not as it was kept."""
        known = {line[0] for line in self._file.rows("runs", (-1,))}
        before, expected = NO_HASH, 1
        for number, at, body, previous, sealed in self.rows():
            for what in _row_problems(number, at, body, previous, sealed, before, expected, known):
                yield Problem(
                    code="comparison-not-as-kept",
                    what=f"comparison {number} {what}",
                    where=(f"kept at {at}",),
                    do="compare with a copy of the store; no later comparison can be relied on",
                )
            before, expected = sealed, number + 1


def _row_problems(
    number: int,
    at: str,
    body: str,
    previous: str,
    sealed: str,
    before: str,
    expected: int,
    known: set[str],
) -> Iterator[str]:
    if number != expected:
        yield f"stands where comparison {expected} should"
    if previous != before:
        yield "does not follow the one before it"
    if sealed != seal(number, at, body, previous):
        yield "was changed: its hash is not that of what it says"
        return
    try:
        made = from_body(body, number)
    except StoreError as error:
        yield error.problems[0].what
        return
    for run in sorted({each.run for each in made.cells} - known):
        yield f"is of run {run}, of which the store has no record"
