"""What psutil gives on systems where its numbers come in other units, or not at all."""

from __future__ import annotations

from dataclasses import dataclass

import psutil
import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.portable import PortableClock


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frequency:
    current: float
    max: float = 0.0


def _read(monkeypatch: pytest.MonkeyPatch, *current: float) -> Reading:
    found = [_Frequency(current=each) for each in current]
    monkeypatch.setattr(psutil, "cpu_freq", lambda percpu: found, raising=False)
    return PortableClock().read(0.0)["cpu.clock"]


def test_a_clock_in_mhz_is_the_mean_of_the_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    reading = _read(monkeypatch, 4600.0, 4700.0)
    assert (reading.value, reading.raw) == (4650.0, None)


@pytest.mark.parametrize(("said", "unit"), [(4.65, "GHz"), (4_650_000.0, "kHz")])
def test_a_clock_in_another_unit_says_how_it_was_taken(
    monkeypatch: pytest.MonkeyPatch, said: float, unit: str
) -> None:
    reading = _read(monkeypatch, said)
    assert reading.value == pytest.approx(4650.0)
    assert reading.raw == f"{said:.10g}, said to be MHz, taken as {unit} by its size"


def test_a_clock_of_nothing_is_not_measured_whatever_the_maximum(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert _read(monkeypatch, 0.0, 0.0).why == "the system gives no frequency"


def test_a_system_for_which_psutil_has_no_such_call_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delattr(psutil, "cpu_freq", raising=False)
    reading = PortableClock().read(0.0)["cpu.clock"]
    assert reading.why == "the system gives no frequency"


def test_a_number_that_is_no_clock_keeps_its_raw_value(monkeypatch: pytest.MonkeyPatch) -> None:
    reading = _read(monkeypatch, 50.0)
    assert (reading.value, reading.raw) == (None, "50")
