"""One simulated night, and what came of it.

Touches nothing.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from harness.plan import document as d
from harness.run import records as r
from nights.homes import Home
from nights.world import Rig


@dataclass(slots=True)
class Night:
    """One simulated night: its plan, its rig, and what came of it."""

    seed: int
    plan: d.Plan
    home: Home
    bench: Rig
    offers: tuple[r.Offer, ...] = ()
    counts: Counter[str] = field(default_factory=Counter)  #: what happened, by what
    faults: Counter[str] = field(default_factory=Counter)
    checked: int = 0  #: how often an invariant was held against something

    @property
    def records(self) -> list[r.Record]:
        """Return every record kept."""
        return [entry.record for entry in self.home.entries(0)]
