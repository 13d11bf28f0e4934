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
    """

    name: str
    version: int
    about: str
    options: tuple[str, ...]
    marks_from: int
    discards_from: int

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
    about="a pass that Grubbs' two-sided test rejects at level alpha",
    options=("alpha", "least", "floor"),
    marks_from=3,
    discards_from=6,
)

#: Every discard rule, in the order in which documents list them.
KINDS: tuple[RuleKind, ...] = (SPREAD, GRUBBS)
