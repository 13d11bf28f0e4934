"""A comparison that was made despite differences, as it is kept: who, why, what came of it.

Pure. The body is JSON in one spelling, so that the same comparison by the same person is the
same text; the seal is taken over it and over the one before.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from harness.errors import Problem, StoreError
from harness.store.bodies import encode

#: Of the body; a field more is a version more.
VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CellOfSide:
    """One cell of a kept comparison, and on which side of which row it stood.

    Args:
        row: The row, from 1.
        side: ``base`` or ``against``; of rigs that were put together, the rig.
        run: The run.
        group: The group of passes under one fingerprint.
        cell: The cell's key.
    """

    row: int
    side: str
    run: str
    group: int
    cell: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeDespite:
    """A comparison that was made although its sides differ in more than what is compared.

    Args:
        by: Who made it.
        harness: The version of the harness it was made with.
        reason: Why the differences do not matter.
        asked: What was asked: selections, figure, band and the rest, as JSON has them.
        differences: What differs, as ``compare --json`` has it.
        cells: What stood on which side.
        rows: What came of it: for each row its label, margin, ends, word.
    """

    by: str
    harness: str
    reason: str
    asked: Mapping[str, object]
    differences: Sequence[Mapping[str, object]]
    cells: tuple[CellOfSide, ...]
    rows: Sequence[Mapping[str, object]]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptComparison:
    """A comparison as the store has it: its number, from 1, and when it was made first."""

    number: int
    at: datetime
    made: MadeDespite


def seal(number: int, at: str, body: str, previous: str) -> str:
    """Return the hash of a kept comparison, over the hash before it: SHA-256, hexadecimal."""
    return hashlib.sha256(encode([number, at, body, previous]).encode()).hexdigest()


def to_body(made: MadeDespite) -> str:
    """Return *made* as JSON."""
    return encode(
        {
            "version": VERSION,
            "by": made.by,
            "harness": made.harness,
            "reason": made.reason,
            "asked": made.asked,
            "differences": list(made.differences),
            "cells": [[c.row, c.side, c.run, c.group, c.cell] for c in made.cells],
            "rows": list(made.rows),
        }
    )


def from_body(body: str, number: int) -> MadeDespite:
    """Return what the body of comparison *number* says.

    Raises:
        StoreError: It does not read back.
    """
    try:
        found = json.loads(body)
        if found["version"] != VERSION:
            raise ValueError(f"version {found['version']}")
        return MadeDespite(
            by=found["by"],
            harness=found["harness"],
            reason=found["reason"],
            asked=found["asked"],
            differences=tuple(found["differences"]),
            cells=tuple(
                CellOfSide(row=row, side=side, run=run, group=group, cell=cell)
                for row, side, run, group, cell in found["cells"]
            ),
            rows=tuple(found["rows"]),
        )
    except (ValueError, KeyError, TypeError) as error:
        raise StoreError(
            Problem(
                code="comparison-unreadable",
                what=f"comparison {number} cannot be read by this harness ({error})",
                do="use the harness that kept it, or a newer one",
            )
        ) from None
