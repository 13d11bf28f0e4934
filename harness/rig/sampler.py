"""Reads the rig once a second while a command runs, in one thread.

Touches the clock and the sensors. Ticks lie on deadlines counted from the start of the
command, so that they do not drift; after a suspend the ones that were missed are left out.
A sample that is one too many for a limit wakes the runner at once. What a tick costs is
counted, and each sample is written down as it is taken, without a sync: it is evidence
even where the runner is killed.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
import time
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from harness.rig.clock import MachineClock
from harness.rig.crossings import LimitBreached, PassWatch
from harness.rig.process import Started, share_cores_of
from harness.rig.readings import Reading, Sample
from harness.rig.sensors.sensors import Sensors
from harness.rig.tasks import Sampling

INTERVAL_S = 1.0
_INFINITE = float("inf")
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
_quoted = lru_cache(maxsize=1024)(_encode)  # names, units and most reasons come at every tick
#: With limits in force: so long without a sample, and their readings count as lost, seconds.
SILENT_S = 5.0


class Sampler:
    """Watches the rig during one command. Used once.

    Args:
        sensors: What is read.
        clock: Deadlines.
        watch: Fed every sample. Its readings are looked up even where the rig lacks them.
        lines: File for the samples, one JSON object a line; None: not written.
        follow: Told the number of the command's process, and None at its end.
        on_sample: Told every sample, on the sampler's thread: a terminal draws then.
        interval_s: From tick to tick.
        ends: Whether a limit that is passed ends the command; else it is only noted.
    """

    def __init__(
        self,
        *,
        sensors: Sensors,
        clock: MachineClock,
        watch: PassWatch,
        lines: Path | None = None,
        follow: Callable[[int | None], None] = lambda pid: None,
        on_sample: Callable[[Sample], None] = lambda sample: None,
        interval_s: float = INTERVAL_S,
        ends: bool = True,
    ) -> None:
        self._sensors, self._clock, self._watch = sensors, clock, watch
        self._also, self._interval_s, self._follow = watched(watch), interval_s, follow
        self._on_sample, self._ends = on_sample, ends
        self._lines = os.open(lines, os.O_WRONLY | os.O_CREAT | os.O_APPEND) if lines else -1
        self._read_fd, self._write_fd = os.pipe()
        self._over = threading.Lock()  # held until it is over: a third of what an Event costs
        self._over.acquire()
        self._finished = False
        self._thread = threading.Thread(target=self._run, name="sampler", daemon=True)
        self._started_s, self._pid = 0.0, 0
        self._each_tick: Callable[[], None] = lambda: None
        self._last_awake_s = 0.0
        self.samples: list[Sample] = []
        #: Start and end of every look, steady clock: reading, judging, writing, drawing.
        self.looks: list[tuple[float, float]] = []
        self.limit: LimitBreached | None = None
        self.failure: BaseException | None = None
        self.cpu_s = 0.0  #: processor time of the thread
        self.latest_s = 0.0  #: the furthest a tick was behind its deadline

    def begin(self, started: Started, *, each_tick: Callable[[], None]) -> None:
        """Start watching a command that has just been started."""
        self._started_s, self._pid = started.started_s, started.id.pid
        self._each_tick = each_tick
        self._last_awake_s = self._clock.awake_s()
        self._follow(started.id.pid)
        self._thread.start()

    def fileno(self) -> int:
        """Return a descriptor that becomes readable when the command is to be ended."""
        return self._read_fd

    def must_end(self) -> bool:
        """Return whether the command is to be ended at once.

        So it is where a limit was passed, where the sampler itself failed, and where limits
        are in force and nobody has looked for too long: not watched is not safe.
        """
        if self.limit is None and self.failure is None and self._thread.is_alive():
            silent_s = self._clock.awake_s() - self._last_awake_s
            if silent_s > SILENT_S + self._interval_s:
                self.limit = self._lost(silent_s)
        return (self.limit is not None and self._ends) or self.failure is not None

    def finish(self) -> None:
        """Stop watching; take a last sample where the last tick is long enough ago.

        Raises:
            Exception: what the thread failed with; the command has been ended by then.
        """
        if self._finished:
            return
        self._finished = True
        self._over.release()
        if self._thread.ident is not None:
            self._thread.join(timeout=SILENT_S)
        self._follow(None)
        if self._thread.is_alive():
            # Stuck in a sensor: it is a daemon, and its descriptors stay its own. Nobody saw
            # the end of the command, and nobody would see the next.
            self.limit = self.limit or self._lost(self._clock.awake_s() - self._last_awake_s)
            return
        for descriptor in (self._read_fd, self._write_fd, self._lines):
            if descriptor >= 0:
                os.close(descriptor)
        if self.failure is not None:
            raise self.failure

    def sampling(self) -> Sampling:
        """Return when it looked, and how the clocks of the machine stand to each other now."""
        steady_s = self._clock.steady_s()
        of_day_s = self._clock.now().timestamp()
        return Sampling(
            started_s=self._started_s,
            interval_s=self._interval_s,
            looks=tuple(self.looks),
            behind_s=(0.0, self._clock.suspended_s(), steady_s - of_day_s),
        )

    def _lost(self, silent_s: float) -> LimitBreached | None:
        """Return that the first limit's reading is lost; None where no limits are in force."""
        if not self._watch.limits:
            return None
        bound = self._watch.limits[0].bound
        return LimitBreached(
            reading=bound.reading,
            unit=bound.unit,
            bound="read once a second",
            value=None,
            why=f"lost: the sensors have not answered for {silent_s:.0f} s",
            at_s=self._clock.steady_s() - self._started_s,
        )

    def _run(self) -> None:
        try:
            tick = 0
            share_cores_of(self._pid)
            while True:
                over_s = self._tick(self._started_s + tick * self._interval_s)
                if self.limit is not None and self._ends:
                    os.write(self._write_fd, b"!")
                    break
                tick = max(tick + 1, int((over_s - self._started_s) / self._interval_s))
                left_s = self._started_s + tick * self._interval_s - over_s
                if self._over.acquire(timeout=max(0.0, left_s)):
                    break
            if self.limit is None:
                self._last()
        except BaseException as error:  # noqa: BLE001 - handed over to the runner, which raises it
            self.failure = error
            os.write(self._write_fd, b"!")
        finally:
            self.cpu_s = time.thread_time()

    def _tick(self, deadline_s: float) -> float:
        """Look once; return when that was over, on the steady clock."""
        sample = self._sensors.sample(self._also)
        self._last_awake_s = self._clock.awake_s()
        self.latest_s = max(self.latest_s, sample.at_s - deadline_s)
        self._take(sample)
        self._each_tick()
        over_s = self._clock.steady_s()
        self.looks.append((sample.at_s, over_s))
        return over_s

    def _last(self) -> None:
        """Take the sample at the end: a command shorter than a tick has no other rates."""
        before = self.samples[-1].at_s if self.samples else self._started_s
        if self._clock.steady_s() - before >= self._interval_s / 4:
            self._take(self._sensors.sample(self._also))

    def _take(self, sample: Sample) -> None:
        into_s = max(0.0, sample.at_s - self._started_s)
        self.samples.append(sample)
        breach = self._watch.feed(sample, into_s=into_s)
        self.limit = self.limit or breach
        if self._lines >= 0:
            os.write(self._lines, as_line(sample, into_s=into_s))
        with contextlib.suppress(OSError):  # a terminal that has gone costs no pass
            self._on_sample(sample)


def watched(watch: PassWatch) -> tuple[str, ...]:
    """Return the names of the readings that *watch* looks at."""
    guards = (guard.bound.reading for guard in watch.guards)
    limits = (limit.bound.reading for limit in watch.limits)
    return (*guards, *limits, *(bound.reading for bound in watch.expects))


def as_line(sample: Sample, *, into_s: float) -> bytes:
    """Return a sample as one line of ``readings.jsonl``.

    ``into_s`` is seconds since the command started, ``took_s`` what reading took; a reading
    has a value and a unit, or a ``why``.
    """
    readings = ",".join(
        [f"{_quoted(name)}:{_written(reading)}" for name, reading in sample.readings.items()]
    )
    took_s = round(sample.end_s - sample.at_s, 6)
    return f'{{"into_s":{into_s:.6f},"took_s":{took_s:.6f},"readings":{{{readings}}}}}\n'.encode()


def _written(reading: Reading) -> str:
    """Return a reading as JSON. By hand: an encoder for each line is a tenth of a whole tick."""
    value = reading.value
    if value is None:
        text = f'{{"why":{_quoted(reading.why or "")}'
    elif value.__class__ is float and -_INFINITE < value < _INFINITE:
        text = f'{{"value":{value!r}'
    else:
        text = f'{{"value":{_encode(value)}'
    if reading.unit:
        text += f',"unit":{_quoted(reading.unit)}'
    if reading.raw is not None:
        text += f',"raw":{_encode(reading.raw)}'
    return text + "}"
