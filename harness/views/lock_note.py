"""What a runner shows at its lock, for whoever looks from elsewhere: a beat, and what it waits at.

Touches nothing itself. It is told of every sample. In a pass it only beats; while a gate is
awaited it writes some hundred bytes a second, without a sync; of a wait for a person's hours it
writes once.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from harness.plan.document import Plan
from harness.plan.words import words
from harness.rig.readings import Sample
from harness.rules.gates import GateWatch
from harness.run import instructions as i
from harness.run.state import RunState
from harness.views.live import View
from harness.views.progress import hours_of


class LockNote(View):
    """Tells that the runner goes on, and what it waits at: the reading now, and what is foretold.

    Args:
        beat: Called at every sample.
        tell: Takes what is to be written down; None: nothing is waited for any more.
        now: The instant.
        steady_s: The steady clock.
    """

    def __init__(
        self,
        *,
        beat: Callable[[], None],
        tell: Callable[[dict[str, Any] | None], None],
        now: Callable[[], datetime],
        steady_s: Callable[[], float],
    ) -> None:
        self._beat, self._tell, self._now, self._steady_s = beat, tell, now, steady_s
        self._watch: GateWatch | None = None
        self._since, self._since_s = now(), 0.0
        self._hours_since: datetime | None = None

    def next(self, state: RunState, instruction: i.Instruction) -> None:
        """Take the note back: what was waited for is over, and nothing is written in a pass.

        Of a wait for a person's hours nothing is sampled: it is noted here.
        """
        noted = self._watch is not None or self._hours_since is not None
        self._watch = None
        if isinstance(instruction, i.AwaitHours):
            self._note_hours(state.plan, instruction.seconds)
            return
        self._hours_since = None
        if noted:
            self._tell(None)

    def _note_hours(self, plan: Plan, seconds: float) -> None:
        now = self._now()
        # Whatever wakes the runner meanwhile, it is the same wait that goes on.
        self._hours_since = self._hours_since or now
        opens_at = (now + timedelta(seconds=seconds)).replace(second=0, microsecond=0)
        self._tell(
            {
                "since": self._hours_since.isoformat(timespec="seconds"),
                "at": now.isoformat(timespec="seconds"),
                "gates": [],
                "person_from": opens_at.isoformat(timespec="seconds"),
                "hours": hours_of(plan),
            }
        )

    def waits(self, watch: GateWatch) -> None:
        """Note what will end the wait that begins."""
        self._since, self._since_s = self._now(), self._steady_s()
        self._watch = watch if watch.gates else None

    def sampled(self, sample: Sample) -> None:
        """Beat; in a wait write down how each gate stands."""
        self._beat()
        watch = self._watch
        if watch is None:
            return
        waited_s, now = self._steady_s() - self._since_s, self._now()
        self._tell(
            {
                "since": self._since.isoformat(timespec="seconds"),
                "at": now.isoformat(timespec="seconds"),
                "person_from": None,
                "gates": [
                    _gate(watch, number, waited_s=waited_s, now=now)
                    for number in range(len(watch.gates))
                ],
            }
        )


def _gate(watch: GateWatch, number: int, *, waited_s: float, now: datetime) -> dict[str, Any]:
    gate, reading = watch.gates[number], watch.now(number)
    opens_in_s = watch.opens_in_s(number, waited_s=waited_s)
    opens_at = None if opens_in_s is None else now + timedelta(seconds=opens_in_s)
    value = None if reading is None else reading.value
    return {
        "reading": gate.bound.reading,
        "bound": words(gate.bound),
        "unit": gate.bound.unit,
        "value": ", ".join(value) if isinstance(value, tuple) else value,
        "why": None if reading is None else reading.why,
        "met": watch.is_met(number),
        "opens_at": None if opens_at is None else opens_at.isoformat(timespec="seconds"),
    }
