"""What earlier runs on a rig say of passes: how long each took, and the figures of kept ones.

Touches disk. Read by plain SQL, so that whoever only wants to know how long a night will be
waits for no record to be made again from its JSON.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from harness.rules.believable import is_believable
from harness.store.seen import HeatSeen, PassSeen
from harness.store.sqlite_file import FILE, SqliteFile, open_file

#: Runs that are looked at, the latest first: older ones say less of the rig as it is now.
LATEST = 20

#: A command that was ended (time limit, limit, stop, signal) does not say how long it takes.
_BY_ITSELF = "exit"


@dataclass(slots=True, kw_only=True)
class _Telling:
    """A pass while its records are read."""

    group: tuple[int, int]
    warm_up: bool
    waited_s: float
    seconds: float | None = None
    command_s: float | None = None
    kept: bool = False
    figures: str = "[]"


class History:
    """The earlier runs of a store. Made by ``open_history``, or ``Store.history``."""

    def __init__(self, file: SqliteFile) -> None:
        self._file = file

    def plans(self, *, rig: str) -> tuple[tuple[str, str, str], ...]:
        """Return (run, hash of its plan, frozen plan) of the latest runs on *rig*, newest first."""
        return tuple(self._file.rows("plans_of_rig", (rig, LATEST)))

    def passes(self, run: str) -> tuple[PassSeen, ...]:
        """Return the passes of *run* that ended, in the order they were started."""
        told: dict[tuple[str, int], _Telling] = {}
        reopened: dict[str, int] = {}
        for kind, cell, attempt, group, warm_up, *rest in self._file.stream("passes_seen", (run,)):
            waited_s, ended_by, wall_s, figures, verdict, marks, discarded = rest
            if kind == "cell-reopened":
                reopened[cell] = reopened.get(cell, 0) + 1
                continue
            if kind == "pass-started":
                era = reopened.get(cell, 0)
                told[cell, attempt] = _Telling(
                    group=(group, era), warm_up=bool(warm_up), waited_s=waited_s
                )
                continue
            one = told.get((cell, attempt))
            if one is None:
                continue
            if kind == "pass-ended":
                if ended_by == _BY_ITSELF:
                    one.seconds = one.waited_s + wall_s
                    one.command_s = wall_s
                one.figures = figures
            elif kind == "pass-judged":
                one.kept = verdict == "kept" and not marks and not one.warm_up
                if verdict == "failed":  # a command that could not do its work was soon over
                    one.seconds = one.command_s = None
            elif discarded:
                one.kept = False
        return tuple(
            PassSeen(
                cell=cell,
                group=one.group,
                seconds=one.seconds,
                kept=one.kept,
                figures=_measured(one.figures) if one.kept else (),
                command_s=one.command_s,
            )
            for (cell, _), one in told.items()
        )

    def heat(self, run: str, readings: Sequence[str]) -> tuple[HeatSeen, ...]:
        """Return how warm parts were around the passes of *run*, in order, of each reading."""
        before: dict[str, float | None] = {}
        waited_s = 0.0
        found: list[HeatSeen] = []
        for kind, waited, text in self._file.stream("heat_seen", (run,)):
            told = {each["name"]: each for each in json.loads(text)}
            if kind == "pass-started":
                waited_s = waited
                before = {name: told.get(name, {}).get("value") for name in readings}
                continue
            for name in readings:
                most, least = (told.get(name, {}).get(key) for key in ("most", "least"))
                found.append(
                    HeatSeen(
                        reading=name,
                        waited_s=waited_s,
                        before_c=before.get(name),
                        most_c=most,
                        least_c=least,
                    )
                )
        return tuple(found)


def _measured(figures: str) -> tuple[tuple[str, float], ...]:
    return tuple(
        (each["name"], each["value"])
        for each in json.loads(figures)
        if each["value"] is not None and is_believable(each["value"])
    )


def has_records(folder: Path) -> bool:
    """Return whether there is a store in *folder*."""
    return (folder / FILE).exists()


@contextmanager
def open_history(folder: Path) -> Iterator[History]:
    """Open the earlier runs of the store in *folder*; nothing is written.

    Raises:
        StoreError: There is no store, or it cannot be read.
    """
    with open_file(folder, write=False) as file:
        yield History(file)
