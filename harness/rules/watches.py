"""Gates, guards and limits, judged sample by sample.

Pure. A watch is made anew for each wait and each pass, fed samples in time order, and
answers with a crossing. It counts on nothing about how often samples come.

**Gates.** A wait is over when, at one sample, every gate is met and has been met at every
sample for its ``for_s``. A sample without a value breaks the hold: not measured is not met.
A gate gives up when it has not held within its ``give_up_s``, counted from the start of the
wait or, once it has held, from the sample that broke it (a gate that held is not blamed for
another that cools slowly). No wait outlasts the longest ``give_up_s``, so that two gates
that hold only in turn end it too. Without gates the wait is over at the first sample, and
``opens_at_once`` says that it need not even wait for that.

**Guards.** A guard is breached when the share of its failed samples, of those with a value,
is above ``share``, or when more than ``for_s`` lie between the first and the last sample of
an unbroken row of failed ones; with neither given, by one failed sample. Only a sample that
met the guard breaks a row: a hole in the readings does not. A guard whose reading was never
measured in the pass is breached: not measured is not met.

**Limits.** Breached by a value outside, by a reading that was lost after it had been
measured, and by one never measured (a plan's ``needs`` refuse such a rig before the first
pass; here nothing may run unwatched).
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.plan.document import Bound, Gate, Guard, Limit
from harness.plan.words import words
from harness.rig.bounds import Met, excess, met
from harness.rig.crossings import (
    GateGaveUp,
    GatesOpened,
    GuardBreached,
    LimitBreached,
)
from harness.rig.readings import Reading, Sample, shown

#: Why there is no value where the bench did not even try to read it.
NOT_READ = "this rig has no such reading"


class GateWatch:
    """Decides when the wait before a pass is over. Satisfies ``WaitWatch``.

    Args:
        gates: The plan's gates, in plan order.
        limits: The limits in force.
    """

    def __init__(self, gates: tuple[Gate, ...], limits: tuple[Limit, ...]) -> None:
        self.gates = gates
        self.limits = limits
        self._limits = _LimitWatch(limits)
        self._met_since: list[float | None] = [None] * len(gates)
        self._held: list[bool] = [False] * len(gates)
        self._deadlines = [gate.give_up_s for gate in gates]
        self._longest_s = max(self._deadlines, default=0.0)

    @property
    def opens_at_once(self) -> bool:
        """Return whether there is nothing to wait for and nothing to watch."""
        return not self.gates and not self.limits

    def feed(
        self, sample: Sample, *, waited_s: float
    ) -> GatesOpened | GateGaveUp | LimitBreached | None:
        """Take one sample; return how the wait ended, or None to go on."""
        breach = self._limits.feed(sample, at_s=waited_s)
        if breach is not None:
            return breach
        for index, gate in enumerate(self.gates):
            self._look(index, gate, sample, waited_s)
        if all(self._held):
            return GatesOpened(waited_s=waited_s)
        return self._gave_up(sample, waited_s)

    def _look(self, index: int, gate: Gate, sample: Sample, waited_s: float) -> None:
        if met(gate.bound, _reading(sample, gate.bound)) is Met.MET:
            since = self._met_since[index]
            if since is None:
                since = self._met_since[index] = waited_s
            self._held[index] = waited_s - since >= gate.for_s
            return
        if self._held[index]:
            self._deadlines[index] = min(waited_s + gate.give_up_s, self._longest_s)
        self._met_since[index] = None
        self._held[index] = False

    def _gave_up(self, sample: Sample, waited_s: float) -> GateGaveUp | None:
        late = [
            i for i, held in enumerate(self._held) if not held and waited_s >= self._deadlines[i]
        ]
        if not late:
            return None
        index = min(late, key=self._deadlines.__getitem__)
        bound = self.gates[index].bound
        reading = _reading(sample, bound)
        value = reading.value
        return GateGaveUp(
            gate=index,
            reading=bound.reading,
            bound=words(bound),
            value=", ".join(value) if isinstance(value, tuple) else value,
            unit=bound.unit,
            why=reading.why,
            waited_s=waited_s,
        )


class GuardWatch:
    """Watches one pass. Satisfies ``PassWatch``.

    Args:
        guards: The plan's guards, in plan order.
        limits: The limits in force.
    """

    def __init__(self, guards: tuple[Guard, ...], limits: tuple[Limit, ...]) -> None:
        self.guards = guards
        self.limits = limits
        self._limits = _LimitWatch(limits)
        self._tallies = [_Tally() for _ in guards]

    def feed(self, sample: Sample, *, into_s: float) -> LimitBreached | None:
        """Take one sample; a breach returned means: end the command at once."""
        for guard, tally in zip(self.guards, self._tallies, strict=True):
            _count(tally, guard.bound, _reading(sample, guard.bound), into_s)
        return self._limits.feed(sample, at_s=into_s)

    def breaches(self, *, wall_s: float) -> tuple[GuardBreached, ...]:
        """Return the guards that were breached over the whole pass.

        Args:
            wall_s: How long the pass took; samples alone decide, so that it changes nothing.
        """
        return tuple(
            GuardBreached(
                guard=index,
                reading=guard.bound.reading,
                bound=words(guard.bound),
                share=tally.failed / tally.measured if tally.measured else None,
                samples=tally.failed,
                measured=tally.measured,
                worst=tally.worst,
                unit=guard.bound.unit,
            )
            for index, (guard, tally) in enumerate(zip(self.guards, self._tallies, strict=True))
            if _breached(guard, tally)
        )


@dataclass(slots=True)
class _Tally:
    """What one guard has seen so far in a pass."""

    measured: int = 0
    failed: int = 0
    failing_since_s: float | None = None
    longest_s: float = 0.0  #: the longest unbroken row of failed samples
    worst: float | bool | str | None = None


def _count(tally: _Tally, bound: Bound, reading: Reading, into_s: float) -> None:
    match met(bound, reading):
        case Met.NOT_MEASURED:
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
    if not tally.measured:
        return True
    if guard.share is None and guard.for_s is None:
        return tally.failed > 0
    if guard.share is not None and tally.failed / tally.measured > guard.share:
        return True
    return guard.for_s is not None and tally.longest_s > guard.for_s


class _LimitWatch:
    """Every limit in force, and whether its reading was measured before."""

    def __init__(self, limits: tuple[Limit, ...]) -> None:
        self._limits = limits
        self._measured: set[str] = set()

    def feed(self, sample: Sample, *, at_s: float) -> LimitBreached | None:
        for limit in self._limits:
            reading = _reading(sample, limit.bound)
            state = met(limit.bound, reading)
            if state is not Met.MET:
                return self._breach(limit.bound, reading, state, at_s)
            self._measured.add(limit.bound.reading)
        return None

    def _breach(self, bound: Bound, reading: Reading, state: Met, at_s: float) -> LimitBreached:
        value: float | None = None
        why = reading.why
        match state:
            case Met.NOT_MEASURED:
                why = why or f"cannot be held against it: {shown(reading)}"
                if bound.reading in self._measured:
                    why = f"lost ({why})"
            case Met.NOT_MET | Met.MET:
                if isinstance(reading.value, (str, tuple)):
                    why = f"it is {shown(reading)}"
                elif reading.value is not None:
                    value = float(reading.value)
        return LimitBreached(
            reading=bound.reading,
            unit=bound.unit,
            bound=words(bound),
            value=value,
            why=why,
            at_s=at_s,
        )


def _reading(sample: Sample, bound: Bound) -> Reading:
    found = sample.readings.get(bound.reading)
    if found is not None:
        return found
    return Reading(name=bound.reading, unit=bound.unit, why=NOT_READ)
