"""A run's grid as the page shows it: titles × settings down, levels across, by state.

Pure. What is doubtful comes first, with why; the rest keeps the order of the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from harness.run.state import Grid
from harness.store.standing import CellStanding, RunLine
from harness.views.numbers import with_interval

#: States in the order in which they ask for a look.
STATES = ("failed", "short", "waiting", "running", "open", "accepted")

#: Flags that tell of a cell and cast no doubt on it: a low figure marks itself as thin.
_NO_DOUBT = ("reused", "thin")

_COUNTS = ("kept", "discarded", "void", "failed", "interrupted", "warm_up")


@dataclass(frozen=True, slots=True, kw_only=True)
class Square:
    """One cell of the grid.

    ``state`` is one of ``STATES``; ``doubts`` say why it deserves a look, ``figure`` is its
    average where that was worked out.
    """

    key: str
    label: str
    title: str
    scene: str
    setting: str
    levels: tuple[tuple[str, str], ...]
    state: str
    kept: int
    wanted: int
    counts: Mapping[str, int]
    doubts: tuple[str, ...] = ()
    figure: str = ""


def squares(
    line: RunLine,
    grid: Grid,
    standings: Iterable[CellStanding],
    *,
    results: Mapping[str, Any] | None = None,
    interrupted: bool = False,
) -> tuple[Square, ...]:
    """Return every cell of a run, in plan order.

    Args:
        line: The run.
        grid: Its plan.
        standings: Where its cells stand; a cell that no record speaks of is open.
        results: The object of ``results --json``, for reasons, flags and figures; None: these
            have not been worked out.
        interrupted: Whether the runner is gone: then no cell is running.
    """
    there = {each.cell: each for each in standings}
    told = _told(results)
    waiting = line.standing.phase == "step"
    found = []
    for key, cell in grid.cells.items():
        standing = there.get(key) or CellStanding(cell=key)
        own = told.get(key, {})
        state = standing.state
        if state == "open":
            state = "waiting" if waiting else state
            state = "running" if line.standing.cell == key and not interrupted else state
        current = standing.group == line.standing.group or standing.state != "open"
        found.append(
            Square(
                key=key,
                label=cell.label,
                title=cell.title,
                scene=cell.scene,
                setting=cell.setting,
                levels=cell.levels,
                state=state,
                kept=standing.kept if current else 0,
                wanted=grid.plan.passes.keep,
                counts={name: getattr(standing, name) for name in _COUNTS},
                doubts=tuple(_doubts(standing, own)),
                figure=_figure(own),
            )
        )
    return tuple(found)


def _told(results: Mapping[str, Any] | None) -> dict[str, Mapping[str, Any]]:
    """Return what the results say of each cell, of the group at which it stands now."""
    if results is None:
        return {}
    return {each["cell"]: each for each in results["cells"] if "group-left" not in each["flags"]}


def _doubts(standing: CellStanding, own: Mapping[str, Any]) -> Iterable[str]:
    if standing.state in ("short", "failed"):
        yield own.get("reason") or f"{standing.state}: see its story"
    for name in ("void", "failed", "discarded", "interrupted"):
        count = getattr(standing, name)
        if count:
            yield f"{count} {'pass' if count == 1 else 'passes'} {name}"
    flags = [flag for flag in own.get("flags", ()) if flag not in _NO_DOUBT]
    if flags:
        yield f"flags: {', '.join(flags)}"
    yield from (f"pass {each['attempt']}: {each['mark']}" for each in own.get("marks", ()))


def _figure(own: Mapping[str, Any]) -> str:
    figures: Mapping[str, Any] = own.get("figures", {})
    if not figures:
        return ""
    name = "average_fps" if "average_fps" in figures else next(iter(figures))
    each = figures[name]
    return with_interval(each["mean"], each["half_width"], each["unit"])


def doubtful(found: Sequence[Square]) -> tuple[Square, ...]:
    """Return the cells that deserve a look, the worst first."""
    some = [each for each in found if each.doubts]
    return tuple(sorted(some, key=lambda each: (STATES.index(each.state), -len(each.doubts))))


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter:
    """What of a grid is shown: states (none: all), and a text in a cell's label."""

    states: frozenset[str] = frozenset()
    text: str = ""

    def takes(self, square: Square) -> bool:
        """Return whether *square* is shown."""
        words = self.text.casefold().split()
        label = square.label.casefold()
        return (not self.states or square.state in self.states) and all(w in label for w in words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The grid as a table: ``rows`` are (title, scene, setting) with a cell, or None, a column."""

    columns: tuple[str, ...]
    rows: tuple[tuple[tuple[str, str, str], tuple[Square | None, ...]], ...]


def board(found: Sequence[Square], wanted: Filter) -> Board:
    """Return the cells that *wanted* takes, as a table."""
    columns = tuple(dict.fromkeys(_column(each) for each in found))
    rows: dict[tuple[str, str, str], dict[str, Square]] = {}
    for each in found:
        if wanted.takes(each):
            rows.setdefault((each.title, each.scene, each.setting), {})[_column(each)] = each
    return Board(
        columns=columns,
        rows=tuple((head, tuple(map(own.get, columns))) for head, own in rows.items()),
    )


def _column(square: Square) -> str:
    return ", ".join(f"{name} {level}" for name, level in square.levels) or "cell"
