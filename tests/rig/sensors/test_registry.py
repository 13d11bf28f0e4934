from __future__ import annotations

import sys
from pathlib import Path

import pytest

from harness.rig.quantities import QUANTITIES
from harness.rig.sensors.registry import sources
from harness.rig.sensors.source import Absent


@pytest.mark.skipif(sys.platform != "linux", reason="the sources are the Linux kernel's")
def test_a_card_that_was_named_and_is_not_found_is_no_other_card(tmp_path: Path) -> None:
    """Else the readings of another card would pass for those of the card under test."""
    named = sources(store=tmp_path, system="linux", gpu="GPU-00000000-no-such-card")
    of_the_card = [each for each in named if any(name.startswith("gpu.") for name in each.names)]
    assert of_the_card
    assert all(isinstance(each, Absent) for each in of_the_card)


def test_every_source_offers_readings_that_a_plan_may_name(tmp_path: Path) -> None:
    for source in sources(store=tmp_path):
        assert set(source.names) <= QUANTITIES.keys()
