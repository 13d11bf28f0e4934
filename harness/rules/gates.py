"""Gates, judged sample by sample: when the wait before a pass is over, and how.

Pure. A watch is made anew for each wait, fed samples in time order, and answers with a
crossing. It counts on nothing about how often samples come.

**Gates.** A wait is over when, at one sample, every gate is met and has been met at every
sample for its ``for_s``. A sample without a value breaks the hold: not measured is not met.
A gate gives up when it has not held within its ``give_up_s``, counted from the start of the
wait or, once it has held, from the sample that broke it (a gate that held is not blamed for
another that cools slowly). No wait outlasts the longest ``give_up_s``, so that two gates
that hold only in turn end it too. Without gates the wait is over at the first sample, and
``opens_at_once`` says that it need not even wait for that.

A gate on a temperature gives up early where Newton's law, fitted to the wait so far, says
that its bound is out of reach within its time (``harness.rules.cooling``).

**Not looked at.** A stretch of more than ``UNSEEN_S`` without a sample breaks the hold: nobody saw
the rig then. Nor was a reading seen to stay away.

**Lost.** A gate whose reading was not measured at any sample for ``LOST_S`` gives up as *lost*: it
is not the part that does not come to its bound, and no patience brings the sensor back. So does
one that is not measured as its time is over.

**Foretold.** What Newton's law said of a gate's temperature is kept until the wait is over
(``harness.rules.foretelling``).

**Preload.** Where a gate may preload, and its part is below the band while every other gate
holds, the wait ends at once: the part does not come into the band by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from harness.plan.document import Gate, Limit
from harness.plan.words import words
from harness.rig.bounds import Met, met
from harness.rig.crossings import (
    LOST_S,
    Floor,
    Foretold,
    GateGaveUp,
    GatesOpened,
    TooCold,
    WatchEnd,
)
from harness.rig.readings import Reading, Sample
from harness.rules.cooling import Cooling, checks, foreseen
from harness.rules.foretelling import Foretelling
from harness.rules.limits import LimitWatch, reading_of

#: A longer stretch without a sample is one that nobody looked at, seconds; sensors of the lab
#: that take some seconds for an answer are well below it. Our choice, no source.
UNSEEN_S = 30.0


class GateWatch:
    """Decides when the wait before a pass is over. Satisfies ``WaitWatch``.

    Args:
        gates: The plan's gates, in plan order.
        limits: The limits in force.
        lost_s: How long a gate's reading may be not measured before it counts as lost.
    """

    def __init__(
        self, gates: tuple[Gate, ...], limits: tuple[Limit, ...], *, lost_s: float = LOST_S
    ) -> None:
        self.gates = gates
        self.limits = limits
        self.lost_s = lost_s
        self._limits = LimitWatch(limits)
        self._met_since: list[float | None] = [None] * len(gates)
        self._held: list[bool] = [False] * len(gates)
        self._deadlines = [gate.give_up_s for gate in gates]
        self._longest_s = max(self._deadlines, default=0.0)
        self._cooling = [Cooling(g) if g.bound.unit == "°C" else None for g in gates]
        self._foretelling = [
            None if cooling is None else Foretelling(index, gate, cooling)
            for index, (gate, cooling) in enumerate(zip(gates, self._cooling, strict=True))
        ]
        self._seen_s: float | None = None  #: when the last sample was taken
        self._latest: Sample | None = None
        self._lost_since: list[float | None] = [None] * len(gates)

    @property
    def opens_at_once(self) -> bool:
        """Return whether there is nothing to wait for and nothing to watch."""
        return not self.gates and not self.limits

    def feed(self, sample: Sample, *, waited_s: float) -> WatchEnd | None:
        """Take one sample; return how the wait ended, or None to go on."""
        breach = self._limits.feed(sample, at_s=waited_s)
        if breach is not None:
            return breach
        if self._seen_s is not None and waited_s - self._seen_s > UNSEEN_S:
            self._met_since = [None] * len(self.gates)
            self._held = [False] * len(self.gates)
            self._lost_since = [None] * len(self.gates)
        self._seen_s, self._latest = waited_s, sample
        for index, gate in enumerate(self.gates):
            self._look(index, gate, sample, waited_s)
        if all(self._held):
            return GatesOpened(waited_s=waited_s)
        floors = [self._cool(index, sample, waited_s) for index in range(len(self.gates))]
        cold = self._too_cold(sample, waited_s)
        if cold is not None:
            return cold
        return self._gave_up(sample, waited_s, floors)

    def looks(self) -> Iterator[float]:
        """Yield when it asks whether a bound is out of reach, seconds into the wait."""
        return checks()

    def foresees(
        self, gate: int, value_at: Callable[[float], float], *, at_s: float, by_s: float
    ) -> Floor | None:
        """Return what it would say at *at_s* of a reading known at every tick; None: nothing."""
        return foreseen(self.gates[gate], value_at, at_s=at_s, by_s=by_s)

    def left_s(self, gate: int, *, waited_s: float) -> float | None:
        """Return in how many seconds a gate's bound is reached by Newton's law; None: unknown."""
        cooling = self._cooling[gate]
        if cooling is None or self._met_since[gate] is not None:
            return None
        return cooling.left_s(waited_s)

    def opens_in_s(self, gate: int, *, waited_s: float) -> float | None:
        """Return in how many seconds a gate will have held for its time; None: unknown."""
        since, for_s = self._met_since[gate], self.gates[gate].for_s
        if since is not None:
            return max(0.0, since + for_s - waited_s)
        left_s = self.left_s(gate, waited_s=waited_s)
        return None if left_s is None else left_s + for_s

    def is_met(self, gate: int) -> bool:
        """Return whether a gate's bound was met at the last sample."""
        return self._met_since[gate] is not None

    def now(self, gate: int) -> Reading | None:
        """Return the last reading of a gate; None: no sample came yet."""
        return None if self._latest is None else reading_of(self._latest, self.gates[gate].bound)

    def foretold(self) -> tuple[Foretold, ...]:
        """Return what was foretold of each gate as far as the wait went, and what came true."""
        found = []
        for index, foretelling in enumerate(self._foretelling):
            reading = self.now(index)
            value = None if reading is None else _number(reading)
            if foretelling is None or value is None or self._seen_s is None:
                continue
            told = foretelling.told(
                reached_s=self._met_since[index], ended_s=self._seen_s, value_c=value
            )
            found += [told] if told is not None else []
        return tuple(found)

    def _look(self, index: int, gate: Gate, sample: Sample, waited_s: float) -> None:
        reading = reading_of(sample, gate.bound)
        if reading.measured:
            self._lost_since[index] = None
        elif self._lost_since[index] is None:
            self._lost_since[index] = waited_s
        if met(gate.bound, reading) is Met.MET:
            since = self._met_since[index]
            if since is None:
                since = self._met_since[index] = waited_s
            self._held[index] = waited_s - since >= gate.for_s
            return
        if self._held[index]:
            self._deadlines[index] = min(waited_s + gate.give_up_s, self._longest_s)
        self._met_since[index] = None
        self._held[index] = False

    def _cool(self, index: int, sample: Sample, waited_s: float) -> Floor | None:
        """Look at the temperature of one gate; return where it ends if the gate cannot hold."""
        cooling, gate = self._cooling[index], self.gates[index]
        foretelling = self._foretelling[index]
        value = _number(reading_of(sample, gate.bound))
        if cooling is None or foretelling is None or value is None:
            return None
        floor = cooling.feed(value, waited_s=waited_s, deadline_s=self._deadlines[index])
        foretelling.note(value, waited_s=waited_s)
        return None if below(gate, value) else floor

    def _too_cold(self, sample: Sample, waited_s: float) -> TooCold | None:
        cold: TooCold | None = None
        for index, gate in enumerate(self.gates):
            if self._held[index]:
                continue
            value = _number(reading_of(sample, gate.bound))
            if value is None or not below(gate, value):
                return None
            cold = cold or TooCold(
                gate=index,
                reading=gate.bound.reading,
                bound=words(gate.bound),
                value=value,
                unit=gate.bound.unit,
                waited_s=waited_s,
            )
        return cold

    def _gone(self, waited_s: float) -> list[int]:
        """Return the gates whose reading has not been measured for too long."""
        since = enumerate(self._lost_since)
        return [i for i, at_s in since if at_s is not None and waited_s - at_s >= self.lost_s]

    def _gave_up(
        self, sample: Sample, waited_s: float, floors: list[Floor | None]
    ) -> GateGaveUp | None:
        late = [
            i for i, held in enumerate(self._held) if not held and waited_s >= self._deadlines[i]
        ]
        hopeless = [i for i, floor in enumerate(floors) if floor is not None]
        gone = self._gone(waited_s)
        if late:
            index, floor = min(late, key=self._deadlines.__getitem__), None
        elif gone:
            index, floor = gone[0], None
        elif hopeless:
            index, floor = hopeless[0], floors[hopeless[0]]
        else:
            return None
        bound = self.gates[index].bound
        reading = reading_of(sample, bound)
        value = reading.value
        return GateGaveUp(
            gate=index,
            reading=bound.reading,
            bound=words(bound),
            value=", ".join(value) if isinstance(value, tuple) else value,
            unit=bound.unit,
            why=reading.why,
            waited_s=waited_s,
            floor=floor,
            lost=value is None,
        )


def _number(reading: Reading) -> float | None:
    value = reading.value
    return None if value is None or isinstance(value, (str, tuple)) else float(value)


def below(gate: Gate, value: float) -> bool:
    """Return whether *value* is below the band of a gate that may preload its part."""
    edge = gate.bound.at_least
    return gate.preload and edge is not None and value < edge
