from __future__ import annotations

from collections.abc import Iterator

import pytest

from harness.rig.sensors.renewed import REST_S, Renewed, renewed
from harness.rig.sensors.source import Absent, FakeSource, Source, Unreadable

GONE = OSError(19, "No such device")


def _works(where: str = "k10temp Tctl") -> FakeSource:
    return FakeSource(name="cpu.temperature", script=(45.0,), where=where)


def _breaks() -> FakeSource:
    return FakeSource(name="cpu.temperature", script=(44.0, GONE), where="k10temp Tctl")


def _broken(*then: Source | OSError) -> Renewed:
    """Return a source that has just failed, and what making it again gives."""
    made: Iterator[Source | OSError] = iter(then)

    def make() -> Source:
        found = next(made)
        if isinstance(found, OSError):
            raise found
        return found

    source = Renewed(_breaks(), make)
    assert source.read(0.0)["cpu.temperature"].value == 44.0
    with pytest.raises(OSError, match="No such device"):
        source.read(1.0)
    return source


def test_a_source_that_failed_is_made_again_after_a_while() -> None:
    source = _broken(_works())
    with pytest.raises(OSError, match="No such device"):
        source.read(2.0)  # not yet: looking for it costs more than a look
    assert source.read(1.0 + REST_S)["cpu.temperature"].value == 45.0
    assert source.read(2.0 + REST_S)["cpu.temperature"].value == 45.0


def test_what_does_not_come_back_fails_as_it_first_did_and_is_looked_for_again() -> None:
    gone = Absent(where="k10temp Tctl", names=("cpu.temperature",), why="no sensor")
    source = _broken(gone, FileNotFoundError(2, "No such file"), _works())
    for at_s in (1.0 + REST_S, 1.0 + 2 * REST_S):
        with pytest.raises(OSError, match="No such device"):
            source.read(at_s)
    assert source.read(1.0 + 3 * REST_S)["cpu.temperature"].value == 45.0


def test_another_sensor_in_its_place_is_not_taken_for_it() -> None:
    source = _broken(_works("nvme Composite"))
    with pytest.raises(Unreadable) as raised:
        source.read(1.0 + REST_S)
    assert raised.value.why == "another sensor answers in place of k10temp Tctl"
    assert raised.value.raw == "nvme Composite"


def test_a_failure_told_all_night_does_not_grow() -> None:
    source = _broken()
    depths = []
    for at in range(50):
        with pytest.raises(OSError, match="No such device") as raised:
            source.read(1.0 + at / 20)
        depths.append(len(raised.traceback))
    assert max(depths) == depths[0]


def test_what_was_absent_from_the_start_stays_so() -> None:
    absent = Absent(where="", names=("cpu.temperature",), why="no sensor")
    assert renewed(lambda: absent)() is absent
