"""What whoever looks at a rig before a night must do, real or fake."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from harness.plan.document import Command
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import FakeSource
from harness.rig.survey import FakeSurveyor, Surveyor, Wanted


def _real(folder: Path) -> Surveyor:
    from harness.rig.survey_linux import LinuxSurveyor

    sensors = Sensors([FakeSource(name="cpu.load", script=(3.0,))], now_s=lambda: 1.0)
    return LinuxSurveyor(state=folder / "rig", folder=folder, sensors=sensors)


@pytest.fixture(params=["real", "fake"])
def surveyor(request: pytest.FixtureRequest, tmp_path: Path) -> Surveyor:
    if request.param == "fake":
        return FakeSurveyor()
    if sys.platform != "linux":
        pytest.skip("the real one looks at Linux")
    return _real(tmp_path)


def test_whatever_is_looked_at_has_a_value_or_a_reason_and_never_both(surveyor: Surveyor) -> None:
    for seen in (
        surveyor.restart_pending(),
        surveyor.timers(),
        surveyor.idle_action(),
        surveyor.runner(),
        surveyor.leftovers(),
    ):
        assert (seen.value is None) == bool(seen.why)


def test_every_name_asked_for_has_one_reading(surveyor: Surveyor) -> None:
    names = ("cpu.load", "power.source", "gpu.link.width")
    found = surveyor.readings(names)
    assert tuple(found) == names
    assert all(reading.name == name for name, reading in found.items())
    assert all((reading.value is None) == (reading.why is not None) for reading in found.values())


def test_everything_looked_for_is_answered_in_the_order_asked(surveyor: Surveyor) -> None:
    program = Command(argv=("{python}", "-V"), time_limit_s=5.0)
    wanted = (Wanted(what="a title", command=program), Wanted(what="a file", path="{size}.ini"))
    found = surveyor.looked_for(wanted)
    assert [each.name for each in found] == ["{python}", "{size}.ini"]
    assert [each.problem for each in found] == ["", ""]


def test_a_field_has_a_text_or_a_reason_and_never_both(surveyor: Surveyor) -> None:
    identity = surveyor.identity(())
    assert not identity.fields.keys() & identity.unread.keys()
    assert all(identity.fields.values())
    assert all(identity.unread.values())


def test_a_quiet_rig_has_no_holds(surveyor: Surveyor) -> None:
    assert surveyor.holds() == ()
