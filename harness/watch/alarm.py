"""Wakes the daemon at an instant: the one thing that APScheduler does here.

Touches a thread and the clock. What is to be done is read from the queue and the records, so a
firing that comes late, twice or never loses nothing: the daemon looks by itself every half
minute, which also covers a clock that was set and a machine that slept.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import UTC, datetime

from apscheduler.events import (  # type: ignore[import-untyped]
    EVENT_JOB_ERROR,
    EVENT_JOB_MAX_INSTANCES,
    EVENT_JOB_MISSED,
    JobEvent,
)
from apscheduler.executors.pool import ThreadPoolExecutor  # type: ignore[import-untyped]
from apscheduler.schedulers.background import BackgroundScheduler  # type: ignore[import-untyped]
from apscheduler.triggers.date import DateTrigger  # type: ignore[import-untyped]

from harness.watch.ports import Log

_WORDS = {
    EVENT_JOB_ERROR: "the alarm failed",
    EVENT_JOB_MAX_INSTANCES: "the alarm was still ringing",
    EVENT_JOB_MISSED: "the alarm was missed",
}


class Alarm:
    """Calls *wake* on a thread of its own at the instant that was set last. A context manager.

    Args:
        wake: Must return at once.
        log: Told of every firing that did not come as it should.
    """

    def __init__(self, wake: Callable[[], None], *, log: Log) -> None:
        self._wake, self._log = wake, log
        self._at: datetime | None = None
        # The library's own lines are told as events, below.
        logging.getLogger("apscheduler").setLevel(logging.CRITICAL)
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )
        self._scheduler.add_listener(self._heard, sum(_WORDS))

    def set(self, at: datetime | None) -> None:
        """Ring at *at*, and no more at what was set before; None: do not ring."""
        if at == self._at:
            return
        self._at = at
        if at is None:
            self._scheduler.remove_all_jobs()
        else:
            trigger = DateTrigger(run_date=at, timezone=UTC)
            self._scheduler.add_job(self._wake, trigger, id="next", replace_existing=True)

    def _heard(self, event: JobEvent) -> None:
        more = {"error": repr(event.exception)} if getattr(event, "exception", None) else {}
        at = self._at.isoformat() if self._at is not None else None
        self._log.warning(_WORDS[event.code], planned=at, **more)

    def __enter__(self) -> Alarm:
        self._scheduler.start()
        return self

    def __exit__(self, *_: object) -> None:
        # Shut down in the middle of a firing, the library looks for its job where none is any
        # more. Taking the jobs away waits for a firing in hand, and none comes after.
        self._scheduler.pause()
        self._scheduler.remove_all_jobs()
        self._scheduler.shutdown(wait=False)
