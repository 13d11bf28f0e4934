"""The minute of the day, as a clock on a wall somewhere shows it."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from harness.errors import AskedError
from harness.rig.clock import minute_of_day


@pytest.mark.parametrize(
    ("at", "minute"),
    [
        (datetime(2026, 7, 1, 21, 30, tzinfo=UTC), 22 * 60 + 30),  # summer time
        (datetime(2026, 11, 6, 21, 30, tzinfo=UTC), 21 * 60 + 30),
    ],
)
def test_the_minute_of_the_day_is_that_of_the_zone(at: datetime, minute: int) -> None:
    assert minute_of_day(at, "Europe/Lisbon") == minute


def test_without_a_zone_it_is_that_of_this_machine() -> None:
    at = datetime(2026, 7, 1, 21, 30, tzinfo=UTC)
    own = at.astimezone()
    assert minute_of_day(at) == 60 * own.hour + own.minute


def test_a_zone_that_is_not_known_is_refused() -> None:
    with pytest.raises(AskedError, match="no-such-zone"):
        minute_of_day(datetime(2026, 7, 1, tzinfo=UTC), "Atlantis/Capital")
