"""Brings notices to their recipients: each once, tried again a bounded number of times.

Touches processes. One is under way at a time, in a process of its own that is ended when it
takes too long; the daemon never waits for it. What was delivered, or given up, is kept.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

from harness.watch import events as e
from harness.watch.journal import WatchJournal
from harness.watch.ports import Log
from harness.watch.watch_settings import Recipient

#: One try may take so long; a notice older than a day is of no use; seconds.
TRY_S, STALE_S = 60.0, 86_400.0
_WHY = {1: "not delivered", 2: "the address is none", 3: "apprise is not installed"}


class Try(Protocol):
    """A try under way: a process of ours."""

    pid: int

    def poll(self) -> int | None:
        """Return its exit status, or None."""
        ...

    def kill(self) -> None:
        """End it."""
        ...


def send(recipient: Recipient, notice: e.Noticed) -> Try:
    """Start to send *notice*."""
    child = subprocess.Popen(
        [sys.executable, "-m", "harness.watch.post"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    order = {"address": recipient.address, "title": notice.title, "body": notice.body}
    assert child.stdin is not None
    with child.stdin:
        child.stdin.write(json.dumps(order).encode())
    return child


@dataclass(slots=True)
class _Waiting:
    tries: int = 0
    not_before_s: float = 0.0


class Posting:
    """What is to be told and to whom, and the try under way.

    Args:
        journal: Where notices stand, and where it is kept that they were told.
        recipients: Whom to tell.
        log: Told of each delivery and each failure.
        now: The clock of the day.
        steady_s: The steady clock.
        sender: Starts a try.
        settled: Why a notice need not be told any more; empty: it must.
    """

    def __init__(
        self,
        journal: WatchJournal,
        recipients: Sequence[Recipient],
        *,
        log: Log,
        now: Callable[[], datetime],
        steady_s: Callable[[], float],
        sender: Callable[[Recipient, e.Noticed], Try] = send,
        settled: Callable[[e.Noticed], str] = lambda notice: "",
    ) -> None:
        self._journal, self._recipients, self._log = journal, tuple(recipients), log
        self._now, self._steady_s, self._sender = now, steady_s, sender
        self._settled = settled
        self._waiting: dict[tuple[str, str], _Waiting] = {}
        self._under_way: tuple[Try, Recipient, e.Noticed, float] | None = None

    def look(self, *, quiet: bool) -> float | None:
        """Take note of the try under way, and begin the next; *quiet*: begin none, a pass runs.

        Returns:
            Seconds until the next look is worth it; None: nothing is to be told.
        """
        self._finish()
        if self._under_way is not None:
            return 1.0
        pending = self._pending()
        if not pending or quiet:
            return None
        now_s = self._steady_s()
        for recipient, notice in pending:
            waiting = self._waiting.setdefault((notice.key, recipient.name), _Waiting())
            if waiting.not_before_s > now_s:
                continue
            if why := self._settled(notice):  # nobody is called to what is done already
                self._log.info("not to be told", notice=notice.title, to=recipient.name, why=why)
                self._told(recipient, notice, delivered=False)
                continue
            self._begin(recipient, notice, waiting, now_s)
            return 1.0
        later = [w.not_before_s for w in self._waiting.values() if w.not_before_s > now_s]
        return min(later) - now_s if later else None

    def process(self) -> tuple[int, ...]:
        """Return the number of the process under way: whoever ends a runner's tree spares it."""
        return () if self._under_way is None else (self._under_way[0].pid,)

    def stop(self) -> None:
        """Break the try under way off: it is made again by the next daemon."""
        if self._under_way is not None:
            self._under_way[0].kill()
            self._under_way = None

    def _pending(self) -> list[tuple[Recipient, e.Noticed]]:
        standing = self._journal.standing
        oldest = (self._now() - timedelta(seconds=STALE_S)).isoformat()
        return [
            (recipient, notice)
            for notice in standing.notices.values()
            for recipient in self._recipients
            if notice.at >= oldest
            and notice.about in {kind.value for kind in recipient.on}
            and (notice.key, recipient.name) not in standing.told
        ]

    def _begin(
        self, recipient: Recipient, notice: e.Noticed, waiting: _Waiting, now_s: float
    ) -> None:
        waiting.tries += 1
        try:
            under_way = self._sender(recipient, notice)
        except OSError as error:
            self._failed(recipient, notice, str(error))
        else:
            self._under_way = (under_way, recipient, notice, now_s)

    def _finish(self) -> None:
        if self._under_way is None:
            return
        under_way, recipient, notice, began_s = self._under_way
        status = under_way.poll()
        if status is None:
            if self._steady_s() - began_s < TRY_S:
                return
            under_way.kill()
        self._under_way = None
        if status == 0:
            self._log.info("told", notice=notice.title, to=recipient.name)
            self._told(recipient, notice, delivered=True)
        else:
            why = f"no answer in {TRY_S:g} s" if status is None else _WHY.get(status, "it failed")
            self._failed(recipient, notice, why)

    def _failed(self, recipient: Recipient, notice: e.Noticed, why: str) -> None:
        waiting = self._waiting[(notice.key, recipient.name)]
        last = waiting.tries >= recipient.tries
        again_s = recipient.retry_after_s * 2 ** (waiting.tries - 1)
        waiting.not_before_s = self._steady_s() + again_s
        self._log.warning(
            "not told",
            notice=notice.title,
            to=recipient.name,
            why=why,
            tried=waiting.tries,
            again_in_s=None if last else again_s,
        )
        if last:
            self._told(recipient, notice, delivered=False)

    def _told(self, recipient: Recipient, notice: e.Noticed, *, delivered: bool) -> None:
        at = self._now().isoformat()
        self._journal.keep(e.Told(at=at, key=notice.key, to=recipient.name, delivered=delivered))
        self._waiting.pop((notice.key, recipient.name), None)
