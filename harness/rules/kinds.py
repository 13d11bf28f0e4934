"""The table of discard rules: names, versions, options, from how many passes each works.

Pure. How each of them works is ``harness.rules.discard``. The table stands apart because a
plan cannot be checked without it, and a check starts within a few times the bare
interpreter: see ``harness.values``.
"""

from __future__ import annotations

from harness.values import Value

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from harness.plan.document import DiscardRule


class RuleKind(Value):
    """One line of the table of discard rules.

    Args:
        name: As a plan writes it.
        version: Goes up when the rule would find something else in the same passes.
        about: What it takes out, for messages and documents.
        options: The keys a plan may give it besides ``rule``, ``on`` and ``at_most``.
        marks_from: Fewest kept passes in which it can find anything.
        discards_from: Fewest kept passes from which it may discard.
        alphas: The levels it knows critical values for; empty: any.
    """

    name: str
    version: int
    about: str
    options: tuple[str, ...]
    marks_from: int
    discards_from: int
    alphas: tuple[float, ...] = ()

    @property
    def label(self) -> str:
        """Return name and version, as records keep them: ``grubbs/1``."""
        return f"{self.name}/{self.version}"

    def least(self, rule: DiscardRule) -> int:
        """Return the kept passes from which *rule* may discard, by the plan and the table."""
        return max(self.discards_from, rule.least or 0)


SPREAD = RuleKind(
    name="spread",
    version=1,
    about="a pass further than more_than from the median of the others",
    options=("more_than", "least"),
    marks_from=3,
    discards_from=3,
)

GRUBBS = RuleKind(
    name="grubbs",
    version=1,
    about="a pass that Grubbs' test rejects at level alpha",
    options=("alpha", "least", "floor", "side"),
    marks_from=3,
    discards_from=6,
)

ESD = RuleKind(
    name="esd",
    version=1,
    about="up to at_most passes at once, by Rosner's generalized extreme Studentized deviate",
    options=("alpha", "least", "floor"),
    marks_from=5,
    discards_from=6,
)

DIXON = RuleKind(
    name="dixon",
    version=1,
    about="a pass whose gap to its neighbour is too large a share of the range (ratio r10)",
    options=("alpha", "least", "floor", "side"),
    marks_from=3,
    discards_from=6,
)

#: Levels for which critical values were simulated: see ``harness.rules.critical_values``.
TABLED = (0.1, 0.05, 0.01)

MODIFIED_Z = RuleKind(
    name="modified-z",
    version=1,
    about="a pass too many median absolute deviations from the median",
    options=("alpha", "least", "floor"),
    marks_from=4,
    discards_from=6,
    alphas=TABLED,
)

TUKEY = RuleKind(
    name="tukey",
    version=1,
    about="a pass too many quartile distances beyond a quartile",
    options=("alpha", "least", "floor"),
    marks_from=5,
    discards_from=6,
    alphas=TABLED,
)

#: Every discard rule, in the order in which documents list them.
KINDS: tuple[RuleKind, ...] = (SPREAD, GRUBBS, ESD, DIXON, MODIFIED_Z, TUKEY)
