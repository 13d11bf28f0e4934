"""What a check of the rig before a night comes to, and what it is judged by.

Pure. A check says *met*, *not met* or *not measured*, and what to do. How much that weighs:

- **must**: without it the run is refused, or stops: not met and not measured both count.
- **should**: the night would be spoilt; not measured alone does not keep it from beginning.
- **information**: for a person to know, never in the way.
"""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from harness.plan.document import At, Plan
from harness.rig.bounds import Met
from harness.rig.hold import Hold
from harness.rig.identity import Identity
from harness.rig.readings import Reading
from harness.rig.survey import LookedFor, ReferenceSeen, Seen, Timer


class Weight(enum.Enum):
    """How much a check weighs."""

    MUST = "must"
    SHOULD = "should"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What one check came to.

    ``what`` says how it is, ``do`` what a person does about it (empty where it is met);
    ``at`` is the place in the plan that asks for it.
    """

    check: str
    state: Met
    what: str
    do: str = ""
    weight: Weight = Weight.SHOULD
    at: At | None = None

    @property
    def in_the_way(self) -> bool:
        """Return whether the rig is not ready because of it."""
        match self.weight:
            case Weight.MUST:
                return self.state is not Met.MET
            case Weight.SHOULD:
                return self.state is Met.NOT_MET
            case Weight.INFORMATION:
                return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """A rig, a store and a plan's night as they were looked at.

    ``until`` is when the night ends; ``kept_gib`` is what the run is expected to keep.
    """

    now: datetime  #: aware
    until: datetime
    readings: Mapping[str, Reading]
    identity: Identity
    restart: Seen[tuple[str, ...]]
    timers: Seen[tuple[Timer, ...]]
    idle: Seen[str]
    runner: Seen[str]
    leftovers: Seen[tuple[str, ...]]
    holds: tuple[Hold, ...]
    looked_for: tuple[LookedFor, ...]
    kept_gib: Seen[float]
    reference: Seen[ReferenceSeen]


Judge = Callable[[Plan, Observed], Iterable[Finding]]
