"""The daemon: woken by the alarm, its runner, a signal or half a minute, it looks, and sleeps.

Touches signals, processes and the clock. What is to be done is ``harness.watch.night_watch``'s;
here is when it is asked, and the order in which everything stops: the alarm, the runner (which
ends its command and records the pass as interrupted), what they left, the notices, the page.
Each wait is bounded.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
from collections.abc import Iterator
from dataclasses import dataclass

from harness.errors import HarnessError
from harness.watch.alarm import Alarm
from harness.watch.due import next_starts
from harness.watch.log import bind
from harness.watch.night_watch import NightWatch
from harness.watch.page_process import PageProcess
from harness.watch.ports import Log
from harness.watch.posting import Posting
from harness.watch.service_manager import ServiceManager

#: Looks are at most so far apart, seconds: a clock that was set is seen by then.
LOOK_S = 30.0
#: How long the runner has to leave when the daemon is told to: its command's grace, and the
#: keeping of what the pass has left, seconds.
STOP_S = 40.0


class Waker:
    """A pipe that wakes the daemon, also from a signal handler and from the alarm's thread."""

    def __init__(self) -> None:
        self._read_fd, self._write_fd = os.pipe()
        os.set_blocking(self._read_fd, False)
        os.set_blocking(self._write_fd, False)
        self.stops = 0  #: how often it was told to stop
        self.reason = ""

    def wake(self) -> None:
        """Wake it; safe everywhere."""
        with contextlib.suppress(BlockingIOError):
            os.write(self._write_fd, b"!")

    def stop(self, reason: str) -> None:
        """Tell it to stop; safe in a signal handler."""
        self.stops += 1
        self.reason = self.reason or reason
        self.wake()

    def sleep(self, seconds: float, *, also: tuple[int, ...] = ()) -> None:
        """Sleep until woken, until one of *also* is readable, or *seconds* have passed."""
        select.select([self._read_fd, *also], [], [], max(0.0, seconds))
        with contextlib.suppress(BlockingIOError):
            while os.read(self._read_fd, 512):
                pass

    @contextlib.contextmanager
    def signals(self) -> Iterator[None]:
        """Let SIGTERM, SIGINT and SIGHUP tell it to stop, and SIGUSR1 wake it."""

        def stop(number: int, frame: object) -> None:
            self.stop(f"told to stop by {signal.Signals(number).name}")

        def wake(number: int, frame: object) -> None:
            self.wake()

        stops = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
        before = {number: signal.signal(number, stop) for number in stops}
        before[signal.SIGUSR1] = signal.signal(signal.SIGUSR1, wake)
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def close(self) -> None:
        """Give the pipe back."""
        os.close(self._read_fd)
        os.close(self._write_fd)


@dataclass(slots=True, kw_only=True)
class Daemon:
    """One daemon's work. ``page`` None: it starts none."""

    watch: NightWatch
    posting: Posting
    manager: ServiceManager
    waker: Waker
    log: Log
    page: PageProcess | None = None
    _page_nap_s: float | None = None
    _said: tuple[str, ...] | None = None

    def carry_on(self, *, once: bool) -> str:
        """Watch until told to stop, or, *once*, until nothing is due; return why it leaves."""
        with Alarm(self.waker.wake, log=self.log) as alarm:
            ready = False
            while not self.waker.stops:
                nap_s = self._look()
                due = self.watch.last
                alarm.set(due.wake if due is not None else None)
                self.manager.tell(*([] if ready else ["READY=1"]), "WATCHDOG=1", self._status())
                ready = True
                if once and self.watch.at_work is None and nap_s is None:
                    return "nothing more is due"
                self._sleep(nap_s)
        self._stop()
        return self.waker.reason

    def _look(self) -> float | None:
        try:
            self.watch.look()
        except HarnessError as error:
            # A full disk, or a store that is busy: nothing was started that is not kept, and the
            # next look finds everything as it is.
            self.log.warning("this look was broken off", why=str(error))
        except Exception as error:
            self.log.warning("a fault in the harness", error=repr(error))
            raise
        work = self.watch.at_work
        if work is None:
            bind()
            self._say_next()
        else:
            bind(run=work.runner.run or None, cell=work.cell, attempt=work.attempt)
        # The pipe tells of the start of a pass before its command is started.
        quiet = work is not None and work.in_pass
        self._page_nap_s = None if self.page is None else self.page.look(quiet=quiet)
        return self.posting.look(quiet=quiet)

    def _sleep(self, nap_s: float | None) -> None:
        most = [LOOK_S, *(each for each in (nap_s, self._page_nap_s) if each is not None)]
        if self.manager.every_s is not None:
            most.append(self.manager.every_s)
        if self.watch.at_work is not None:
            most.append(self.watch.at_work.stuck_s / 3)
        self.waker.sleep(min(most), also=self._descriptors())

    def _descriptors(self) -> tuple[int, ...]:
        work = self.watch.at_work
        page = () if self.page is None else self.page.descriptors()
        return page if work is None else (*page, *work.runner.descriptors())

    def _say_next(self) -> None:
        """Say the next three starts, in local time and UTC, whenever they are others."""
        entries, hours = self.watch.journal.standing.entries, self.watch.hours()
        found = next_starts(entries, hours, self.watch.rig.now())
        said = tuple(
            f"{x.start.astimezone():%a %Y-%m-%d %H:%M %Z} ({x.start:%Y-%m-%d %H:%M} UTC): "
            f"{x.entry.plan}"
            for x in found
        )
        if said != self._said:
            self._said = said
            for line in said or ("none",):
                self.log.info("next start", when=line)

    def _status(self) -> str:
        work = self.watch.at_work
        if work is not None:
            return f"STATUS=carrying out {work.entry.plan}"
        return f"STATUS=next start: {self._said[0]}" if self._said else "STATUS=nothing is queued"

    def _stop(self) -> None:
        self.manager.tell("STOPPING=1")
        work = self.watch.at_work
        self.log.info("stopping", why=self.waker.reason)
        if work is not None:
            asked = self.waker.stops
            self.watch.ask_to_stop()
            where = {"cell": work.cell, "attempt": work.attempt}
            self.log.info("waiting for the runner", at_most_s=STOP_S, **where)
            deadline_s = self.watch.rig.steady_s() + STOP_S
            while not work.runner.is_over() and self.watch.rig.steady_s() < deadline_s:
                work.runner.lines()
                self.waker.sleep(1.0, also=self._descriptors())
                if self.waker.stops > asked:
                    asked = self.waker.stops
                    self.watch.ask_to_stop()
            if not work.runner.is_over():
                self.log.warning("the runner did not leave and is ended", **where)
            self.watch.end()
        self.posting.stop()
        if self.page is not None:
            self.page.stop()
