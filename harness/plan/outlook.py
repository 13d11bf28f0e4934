"""What a checked plan amounts to: cells, passes, a person's steps, and how long it takes.

Pure. It is worked out from what the plan says, without laying out the grid, so that it
costs the same for ten cells and for ten thousand.

The time of a title is that of earlier passes of its cells where they are handed in: waits
and whole commands, as they were. Else it holds what is known beforehand: the length of the
scene and how long gates must hold; starting the title and waiting for gates come on top. A
title whose scene has no stated length counts with its time limit, the most it can take. To
all of these come the wait after a person's step, which is counted, and a person's own time
and passes that must be repeated, which are not.
"""

from __future__ import annotations

import itertools

from harness.plan import fields as f
from harness.plan import history_fields as h
from harness.plan import title_fields as t
from harness.plan.kinds import Values
from harness.plan.mappings import Named
from harness.plan.rule_agreement import DEFAULT_KEEP

#: Warm-up passes until steady: two are the fewest that can agree, and no more are foreseen.
LEAST_STEADY = 2

TYPE_CHECKING = False  # as typing has it: no check needs it to run
if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    #: (title, scene) -> how long a pass took, seconds, one mean for each cell that has any.
    Lengths = Mapping[tuple[str, str], Sequence[float]]


class Outlook:
    """The size of a plan.

    Args:
        titles: Entries of the plan's list of titles.
        settings: Settings that titles are measured at.
        levels: Combinations of levels.
        cells: Cells of the grid.
        counted: Counted passes if each is kept.
        warm_ups: Passes that are not counted.
        references: Passes of the reference cell, at the start and the end of every stay;
            those that come every so often depend on how long the night is.
        steps: What a person is asked to do, in order, each the levels to be set.
        seconds: What is known of the time it takes.
        seen: Titles that count with earlier passes.
        bounded: Titles that count with their time limit, having no stated length.
        opens_case: How many steps open the case.
    """

    __slots__ = (
        "bounded", "cells", "counted", "levels", "opens_case", "references", "seconds", "seen",
        "settings", "steps", "titles", "warm_ups",
    )  # fmt: skip

    def __init__(
        self,
        *,
        titles: int,
        settings: int,
        levels: int,
        cells: int,
        counted: int,
        warm_ups: int,
        steps: tuple[tuple[tuple[str, str], ...], ...],
        seconds: float,
        seen: tuple[str, ...] = (),
        bounded: tuple[str, ...],
        opens_case: int,
        references: int = 0,
    ) -> None:
        self.titles, self.settings, self.levels = titles, settings, levels
        self.cells, self.counted, self.warm_ups = cells, counted, warm_ups
        self.steps, self.opens_case, self.references = steps, opens_case, references
        self.seconds, self.seen, self.bounded = seconds, seen, bounded

    @property
    def passes(self) -> int:
        """Return all passes, warm-ups and the reference cell's too."""
        return self.counted + self.warm_ups + self.references

    @property
    def scenes(self) -> int:
        """Return how many titles count with the length of their scene."""
        return self.titles - len(self.seen) - len(self.bounded)


def outlook(plan: Values, *, earlier: Lengths | None = None) -> Outlook:
    """Return what *plan* amounts to.

    Args:
        plan: What a plan without errors says.
        earlier: How long passes of its cells took. A cell of which there is none yet takes
            the mean of its title's other cells.
    """
    conditions = plan.get(f.CONDITIONS)
    parts = conditions.parts if conditions is not None else []
    levels = 1
    for _, condition in parts:
        levels *= len(condition.need(f.LEVELS).parts)
    passes, order = plan.need(f.PASSES), plan.get(f.ORDER)
    keep = passes.of(f.KEEP, DEFAULT_KEEP)
    visits = order.of(f.VISITS, 1) if order is not None else 1
    warm_ups = _warm_ups(passes, visits)
    steps, opens_case = _steps(parts, order, visits)
    hold = max((gate.of(f.GATE_FOR, 0.0) for gate in plan.of(f.GATES, ())), default=0.0)
    cells, seconds = 0, 0.0
    seen: list[str] = []
    bounded: list[str] = []
    reference = plan.get(h.REFERENCE)
    references = 2 * _stays(parts, order, visits) if reference is not None else 0
    for title in plan.need(f.TITLES):
        name = title.need(t.TITLE)
        here = len(title.need(t.TITLE_SETTINGS)) * levels
        cells += here
        means = earlier.get((name, title.need(t.SCENE)), ()) if earlier is not None else ()
        if means:
            seen.append(name)
            a_pass = sum(means) / len(means)
        else:
            length, known = _length(title)
            if not known:
                bounded.append(name)
            a_pass = length + hold
        seconds += here * (keep + warm_ups) * a_pass
        if reference is not None and _is_reference(reference, title):
            seconds += references * a_pass
    rig = plan.get(f.RIG)
    settle = rig.of(f.SETTLE, 0.0) if rig is not None else 0.0
    return Outlook(
        titles=len(plan.need(f.TITLES)),
        settings=len({s for title in plan.need(f.TITLES) for s in title.need(t.TITLE_SETTINGS)}),
        levels=levels,
        cells=cells,
        counted=cells * keep,
        warm_ups=cells * warm_ups,
        steps=steps,
        seconds=seconds + settle * len(steps),
        seen=tuple(seen),
        bounded=tuple(bounded),
        opens_case=opens_case,
        references=references,
    )


def _is_reference(reference: Values, title: Values) -> bool:
    scene = reference.get(h.REFERENCE_SCENE)
    mine = title.need(t.TITLE) == reference.need(h.REFERENCE_TITLE)
    return mine and scene in (None, title.need(t.SCENE))


def _stays(conditions: list[tuple[str, Values]], order: Values | None, visits: int) -> int:
    """Return how many unbroken stays at one state of the hardware there are, visits together."""
    within = order.get(f.ROUNDS_WITHIN) if order is not None else None
    states = 1
    for name, condition in conditions:
        if condition.need(f.BY) == "operator" or name == within:
            states *= len(_levels(condition).parts)
    return states * visits


def _length(title: Values) -> tuple[float, bool]:
    """Return how long a pass of *title* takes, and whether that is known or only bounded."""
    cut = title.get(t.CUT)
    length = cut.get(t.CUT_LENGTH) if cut is not None else None
    if cut is None or length is None:
        return title.of(t.TIME_LIMIT, t.TITLE_LIMIT_S), False
    return cut.of(t.CUT_FROM, 0.0) + length, True


def _warm_ups(passes: Values, visits: int) -> int:
    """Return how many warm-up passes a cell gets if the runner is started once."""
    warm_up = passes.get(f.WARM_UP)
    if isinstance(warm_up, Values):
        count, when = warm_up.of(f.WARM_UP_PASSES, 1), warm_up.get(f.WARM_UP_WHEN)
        if f.WARM_UP_UNTIL.name in warm_up.nodes:
            count = LEAST_STEADY
        return count * (visits if when is None or "visit" in when else 1)
    return (1 if warm_up is None else warm_up) * visits


def _steps(
    conditions: list[tuple[str, Values]], order: Values | None, visits: int
) -> tuple[tuple[tuple[tuple[str, str], ...], ...], int]:
    """Return what a person is asked to do, and how often that opens the case.

    The order is that of ``harness.plan.order``: those that open the case change slowest.
    Levels that are not changed from one stay to the next are not asked for again.
    """
    mine = [(name, c) for name, c in conditions if c.get(f.BY) == "operator"]
    mine.sort(key=lambda part: (not part[1].get(f.OPENS_CASE), not part[1].get(f.REBOOT)))
    names = [name for name, _ in mine]
    opening = {name for name, c in mine if c.get(f.OPENS_CASE)}
    states = list(itertools.product(*([level for level, _ in _levels(c).parts] for _, c in mine)))
    steps: list[tuple[tuple[str, str], ...]] = []
    opened = 0
    now: tuple[str, ...] = ()
    for state in states * visits:
        changed = tuple(
            (name, level)
            for place, (name, level) in enumerate(zip(names, state, strict=True))
            if not now or now[place] != level
        )
        now = state
        if changed:
            steps.append(changed)
            opened += any(name in opening for name, _ in changed)
    return tuple(steps), opened


def _levels(condition: Values) -> Named[Values]:
    return condition.need(f.LEVELS)
