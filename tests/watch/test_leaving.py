"""How a runner left."""

from __future__ import annotations

import pytest

from harness.watch.events import Leaving
from harness.watch.leaving import Seen, how_it_left


@pytest.mark.parametrize(
    ("status", "phase", "told", "held", "how"),
    [
        (0, "finished", False, False, Leaving.FINISHED),
        (1, "finished", True, False, Leaving.FINISHED),
        (3, "held", False, True, Leaving.HELD),
        (3, "idle", False, True, Leaving.HELD),
        (3, "", False, False, Leaving.REFUSED),
        (2, "", False, False, Leaving.REFUSED),
        (4, "idle", False, False, Leaving.REFUSED),
        (5, "paused", False, False, Leaving.PAUSED),
        (5, "step", False, False, Leaving.STEP),
        (5, "paused", True, False, Leaving.STOPPED),
        (5, "step", True, False, Leaving.STOPPED),
        (-9, "pass", True, False, Leaving.STOPPED),
        (-9, "pass", False, False, Leaving.GONE),
        (70, "idle", False, False, Leaving.GONE),
        (None, "pass", False, False, Leaving.GONE),
        (None, "", False, False, Leaving.GONE),
        (None, "finished", False, False, Leaving.FINISHED),
        (None, "step", False, False, Leaving.STEP),
        (None, "held", False, False, Leaving.HELD),
    ],
)
def test_how_it_left(status: int | None, phase: str, told: bool, held: bool, how: Leaving) -> None:
    assert how_it_left(Seen(status=status, phase=phase, told=told, held=held)) is how


@pytest.mark.parametrize(
    ("why", "how"),
    [
        ("the night ends at 07:00", Leaving.PAUSED),
        ("told to stop by SIGTERM", Leaving.STOPPED),
    ],
)
def test_a_pause_that_nobody_saw_is_known_by_its_reason(why: str, how: Leaving) -> None:
    seen = Seen(status=None, phase="paused", told=False, held=False, why=why)

    assert how_it_left(seen) is how
