"""The nights of a run, counted as its passes come.

Pure. A *night* is a stretch of passes without a pause of more than six hours, whatever the
calendar says; a pass's own length is no pause.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

#: A longer pause than this begins another night.
NIGHT_APART = timedelta(hours=6)


@dataclass(slots=True)
class RunNights:
    """The nights so far: the first and the last instant of each, passes of all cells among them."""

    spans: list[tuple[datetime, datetime]] = field(default_factory=list)

    def see(self, at: datetime) -> int:
        """Take in that a pass began or ended *at*; return the number of its night, from 1."""
        if not self.spans or at - self.spans[-1][1] > NIGHT_APART:
            self.spans.append((at, at))
        else:
            began, ended = self.spans[-1]
            self.spans[-1] = began, max(ended, at)
        return len(self.spans)
