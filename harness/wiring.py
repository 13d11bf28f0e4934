"""The one place where real parts are chosen and joined.

Touches nothing itself; what it joins does. Every import is made where it is needed, so that
a command pays only for the parts it uses.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from datetime import datetime

    from harness.plan.check import Vocabulary
    from harness.rig.bench import RealBench
    from harness.rig.clock import MachineClock
    from harness.rig.readings import Sample
    from harness.rig.stop import StopFlag
    from harness.views.live import LiveView, PlainView


def vocabulary() -> Vocabulary:
    """Return the names that a plan may use: readings, discard rules, figures."""
    from harness.plan.check import Vocabulary

    raise NotImplementedError(Vocabulary)


@dataclass(frozen=True, slots=True, kw_only=True)
class RigInHand:
    """The rig, taken by this runner until the block ends."""

    bench: RealBench
    clock: MachineClock
    boot: str


@contextmanager
def rig_in_hand(
    *, plan: str, work: Path, flag: StopFlag, on_sample: Callable[[Sample], None]
) -> Iterator[RigInHand]:
    """Take the rig: no other runner can have it meanwhile.

    Raises:
        RigError: another runner has it; the error says which.
    """
    raise NotImplementedError
    yield


def run_view(
    out: TextIO, *, live: bool, now: Callable[[], datetime], steady_s: Callable[[], float]
) -> LiveView | PlainView:
    """Return what shows a run: a live view, or plain lines."""
    from harness.views.live import LiveView, PlainView

    return LiveView(out, now=now, steady_s=steady_s) if live else PlainView(out, now=now)
