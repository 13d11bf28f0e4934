"""What a signal that ended a command is called."""

from __future__ import annotations

import signal
import sys

import pytest

from harness.rig.command import signal_name


def test_a_signal_is_called_by_its_name() -> None:
    assert signal_name(signal.SIGTERM) == "SIGTERM"


@pytest.mark.skipif(sys.platform == "win32", reason="this system has no real-time signals")
def test_a_real_time_signal_is_counted_from_the_first() -> None:
    assert signal_name(signal.SIGRTMIN + 3) == "SIGRTMIN+3"
    assert signal_name(signal.SIGRTMAX) == "SIGRTMAX"


def test_a_signal_without_a_name_has_its_number() -> None:
    assert signal_name(4711) == "4711"
