"""Source + Vocabulary -> a plan, or all its problems at once, in file order.

Pure. Three steps: every value by itself, by the table of fields; the parts against each
other; and, once nothing is wrong, the frozen plan, which is built when it is asked for.
"""

from __future__ import annotations

from harness.errors import PlanError, Problem
from harness.plan import fields as f
from harness.plan.agreement import grid_fits, names_differ, titles_agree
from harness.plan.history_agreement import history_agrees
from harness.plan.kinds import Desk, Values
from harness.plan.rule_agreement import (
    conditions_agree,
    gates_agree,
    night_agrees,
    passes_agree,
    rules_agree,
)
from harness.plan.source import Source
from harness.plan.vocabulary import KnownReading, KnownRule, Vocabulary

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from harness.plan.document import Plan

__all__ = ["Checked", "KnownReading", "KnownRule", "Vocabulary", "check"]


class Checked:
    """What came of checking a plan.

    Args:
        problems: Errors and warnings, in file order.
        values: What the plan says; None where it has errors.
    """

    __slots__ = ("_plan", "problems", "values")

    def __init__(self, *, problems: tuple[Problem, ...], values: Values | None) -> None:
        self.problems = problems
        self.values = values
        self._plan: Plan | None = None

    @property
    def errors(self) -> tuple[Problem, ...]:
        """Return the problems that keep the plan from being carried out."""
        return tuple(problem for problem in self.problems if problem.severity == "error")

    @property
    def warnings(self) -> tuple[Problem, ...]:
        """Return the problems that do not."""
        return tuple(problem for problem in self.problems if problem.severity != "error")

    @property
    def plan(self) -> Plan | None:
        """Return the plan, or None where it has errors. It is built once, when asked for."""
        if self._plan is None and self.values is not None:
            # Whoever only wants the problems and the size of the grid does not pay for
            # the classes of the document, a quarter of the time a check takes.
            from harness.plan.build import build

            self._plan = build(self.values)
        return self._plan

    def accepted(self) -> Plan:
        """Return the plan.

        Raises:
            PlanError: It has errors; all of them, and the warnings, in file order.
        """
        plan = self.plan
        if plan is None:
            raise PlanError(self.problems)
        return plan


def check(source: Source, vocabulary: Vocabulary) -> Checked:
    """Check a plan.

    Args:
        source: The plan file, as ``harness.plan.read`` or ``parse`` gives it.
        vocabulary: The readings, rules, figures and fingerprint fields that exist.

    Returns:
        All problems, in file order, and the plan where none of them is an error.
    """
    if source.root is None:
        return Checked(problems=source.problems, values=None)
    desk = Desk(source, vocabulary)
    values = f.PLAN_MAPPING(source.root, desk, "")
    if values is not None:
        _against_each_other(values, desk)
    problems = tuple(sorted(_once(desk.problems), key=_position))
    wrong = any(problem.severity == "error" for problem in problems)
    return Checked(problems=problems, values=None if wrong else values)


def _against_each_other(plan: Values, desk: Desk) -> None:
    settings = plan.get(f.SETTINGS)
    if settings is not None:
        names_differ(settings.keys, "settings", desk)
    used = titles_agree(plan, desk)
    conditions_agree(plan, desk, used=used)
    passes_agree(plan, desk)
    gates_agree(plan, desk)
    rules_agree(plan, desk)
    night_agrees(plan, desk)
    history_agrees(plan, desk)
    grid_fits(plan, desk)


def _once(problems: list[Problem]) -> list[Problem]:
    """Return *problems* without repeats: a part that is used by alias is read at each use."""
    seen: dict[tuple[object, ...], Problem] = {}
    for problem in problems:
        seen.setdefault((problem.code, problem.place, problem.do), problem)
    return list(seen.values())


def _position(problem: Problem) -> tuple[int, int]:
    place = problem.place
    return (place.line or 0, place.column or 0) if place is not None else (0, 0)
