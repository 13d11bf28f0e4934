"""Where a run and its cells stand, as the store answers at once however much it holds.

Pure. These values are a cache of the fold of the records (``harness.store.tally`` makes
them). Their fields stand in the order in which a database answers them, and no record is
needed to read them, so that a command that only asks starts quickly.
"""

from __future__ import annotations

from harness.values import Value


class CellStanding(Value):
    """Where one cell stands.

    ``state`` is the value of a ``CellState``. The counts are of passes in ``group``, since
    the cell was last opened; ``warm_up`` counts warm-up passes, whatever came of them.
    """

    cell: str
    state: str = "open"
    group: int = 0
    attempts: int = 0
    kept: int = 0
    discarded: int = 0
    void: int = 0
    failed: int = 0
    interrupted: int = 0
    warm_up: int = 0


class RunStanding(Value):
    """Where one run stands after its record ``seq``.

    ``phase`` is the value of a ``Phase``, begun at ``since``. ``group`` is the group of
    passes that is open; a cell of an earlier one has no kept pass in it yet. ``cell``,
    ``attempt`` and ``warm_up`` are of the pass in progress; ``warm_up`` of a reference pass,
    which counts to no cell, is None. ``waits`` is the body of the
    open step or of the hold, as JSON. ``accepted``, ``short`` and ``failed`` count cells;
    ``passes`` the judged passes, warm-ups aside. Instants are UTC, RFC 3339.
    """

    seq: int = 0
    at: str = ""
    phase: str = "new"
    since: str = ""
    group: int = 0
    cell: str | None = None
    attempt: int | None = None
    warm_up: bool | None = None
    waits: str | None = None
    accepted: int = 0
    short: int = 0
    failed: int = 0
    passes: int = 0


class RunLine(Value):
    """A run as a list of runs shows it. ``cells`` is how many its plan has."""

    run: str
    number: int
    plan_name: str
    plan_hash: str
    rig: str
    cells: int
    created_at: str
    standing: RunStanding

    @property
    def open_cells(self) -> int:
        """Return how many cells are not closed."""
        done = self.standing.accepted + self.standing.short + self.standing.failed
        return self.cells - done
