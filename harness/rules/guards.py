"""Guards, judged over the samples of a pass: what must have held while the title ran.

Pure. A watch is made anew for each pass and fed samples in time order. A guard is breached
when the share of its failed samples, of those with a value, is above ``share``, or when more
than ``for_s`` lie between the first and the last sample of an unbroken row of failed ones;
with neither given, by one failed sample. Only a sample that met the guard breaks a row: a
hole in the readings does not.

Not measured is not met: a guard is breached, too, where its reading has a value in fewer
than half of the samples, since of the rest of the pass nothing is known (a half: common
practice, no source). Samples come at equal intervals, so that a share of them is one of time.
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.plan.document import Bound, Guard, Limit
from harness.plan.words import allowance, words
from harness.rig.bounds import Met, excess, met
from harness.rig.crossings import ExpectNotMet, GuardBreached, LimitBreached
from harness.rig.readings import Reading, Sample
from harness.rules.limits import LimitWatch, reading_of
from harness.rules.under_load import ExpectWatch

#: Of the samples of a pass, that must have a value.
LEAST_MEASURED = 0.5


class GuardWatch:
    """Watches one pass. Satisfies ``PassWatch``.

    Args:
        guards: The plan's guards, in plan order.
        limits: The limits in force.
        expects: What the levels in force expect of readings that are judged under load.
    """

    def __init__(
        self,
        guards: tuple[Guard, ...],
        limits: tuple[Limit, ...],
        expects: tuple[Bound, ...] = (),
    ) -> None:
        self.guards = guards
        self.limits = limits
        self.expects = expects
        self._limits = LimitWatch(limits)
        self._expects = ExpectWatch(expects)
        self._tallies = [_Tally() for _ in guards]

    def feed(self, sample: Sample, *, into_s: float) -> LimitBreached | None:
        """Take one sample; a breach returned means: end the command at once."""
        for guard, tally in zip(self.guards, self._tallies, strict=True):
            _count(tally, guard.bound, reading_of(sample, guard.bound), into_s)
        self._expects.feed(sample)
        return self._limits.feed(sample, at_s=into_s)

    def breaches(self, *, wall_s: float) -> tuple[GuardBreached, ...]:
        """Return the guards that were breached over the whole pass.

        Args:
            wall_s: How long the pass took; samples alone decide, so that it changes nothing.
        """
        return tuple(
            _breach(index, guard, tally)
            for index, (guard, tally) in enumerate(zip(self.guards, self._tallies, strict=True))
            if _breached(guard, tally)
        )

    def not_met(self) -> tuple[ExpectNotMet, ...]:
        """Return what the levels expect and the pass did not show, at its best reading."""
        return self._expects.not_met()


@dataclass(slots=True)
class _Tally:
    """What one guard has seen so far in a pass."""

    seen: int = 0  #: samples, with a value or without
    measured: int = 0
    failed: int = 0
    failing_since_s: float | None = None
    longest_s: float = 0.0  #: the longest unbroken row of failed samples
    worst: float | bool | str | None = None
    why: str | None = None  #: why the latest sample without a value had none

    @property
    def enough(self) -> bool:
        """Return whether there are values enough to say anything of the pass."""
        return self.measured > 0 and self.measured >= LEAST_MEASURED * self.seen


def _count(tally: _Tally, bound: Bound, reading: Reading, into_s: float) -> None:
    tally.seen += 1
    match met(bound, reading):
        case Met.NOT_MEASURED:
            tally.why = reading.why or f"{reading.value} cannot be held against it"
            return
        case Met.MET:
            tally.failing_since_s = None
        case Met.NOT_MET:
            tally.failed += 1
            if tally.failing_since_s is None:
                tally.failing_since_s = into_s
            tally.longest_s = max(tally.longest_s, into_s - tally.failing_since_s)
            tally.worst = _worse(bound, tally.worst, reading)
    tally.measured += 1


def _worse(
    bound: Bound, worst: float | bool | str | None, reading: Reading
) -> float | bool | str | None:
    """Return the value further outside an interval; of other bounds the first that failed."""
    value = reading.value
    if isinstance(value, tuple):
        value = ", ".join(value)
    if worst is None:
        return value
    if isinstance(value, (bool, str)) or isinstance(worst, (bool, str)) or value is None:
        return worst
    return value if excess(bound, value) > excess(bound, worst) else worst


def _breached(guard: Guard, tally: _Tally) -> bool:
    if not tally.enough:
        return True
    if guard.share is None and guard.for_s is None:
        return tally.failed > 0
    if guard.share is not None and tally.failed / tally.measured > guard.share:
        return True
    return guard.for_s is not None and tally.longest_s > guard.for_s


def _breach(index: int, guard: Guard, tally: _Tally) -> GuardBreached:
    return GuardBreached(
        guard=index,
        reading=guard.bound.reading,
        bound=words(guard.bound),
        share=tally.failed / tally.measured if tally.enough else None,
        samples=tally.failed,
        measured=tally.measured,
        worst=tally.worst,
        unit=guard.bound.unit,
        allowed=allowance(guard),
        why=None if tally.enough else tally.why,
        seen=tally.seen,
        longest_s=tally.longest_s,
    )
