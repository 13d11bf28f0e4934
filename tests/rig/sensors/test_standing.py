from __future__ import annotations

import sys
from pathlib import Path

import pytest

from harness.rig.readings import Reading
from harness.rig.sensors.standing import ClockKept, Screen, kernel_clock

# --- the clock of the day -----------------------------------------------------------------


def _refuses() -> tuple[bool, int]:
    raise PermissionError(1, "Operation not permitted")


def _clock(**given: object) -> Reading:
    return ClockKept(**given).read(0.0)["clock.synchronised"]  # type: ignore[arg-type]


def test_the_kernel_tells_whether_its_clock_is_kept_and_how_well() -> None:
    reading = _clock(kernel=lambda: (True, 20_500))
    assert (reading.value, reading.raw) == (True, "adjtimex: at most 0.0205 s off")


def test_a_clock_that_nobody_keeps_is_not_kept() -> None:
    reading = _clock(kernel=lambda: (False, 16_000_000))
    assert (reading.value, reading.raw) == (False, "adjtimex: unsynchronised")


def test_where_the_kernel_refuses_the_time_service_may_have_left_its_mark(tmp_path: Path) -> None:
    mark = tmp_path / "synchronized"
    mark.touch()
    reading = _clock(kernel=_refuses, mark=mark)
    assert (reading.value, reading.raw) == (True, str(mark))


def test_without_either_it_is_not_measured_and_never_false(tmp_path: Path) -> None:
    reading = _clock(kernel=_refuses, mark=tmp_path / "none")
    assert (reading.value, reading.why) == (
        None,
        "the kernel does not say: Operation not permitted",
    )


@pytest.mark.skipif(sys.platform != "linux", reason="the call is the Linux kernel's")
def test_the_kernel_here_gives_an_answer_that_can_be_true() -> None:
    try:
        kept, most_us = kernel_clock()
    except OSError:
        pytest.skip("this machine does not let anybody ask")
    # adjtimex(2): the kernel lets the largest error grow to 16 s, and then calls it unsynchronised.
    assert 0 <= most_us <= 16_000_000
    assert not kept or most_us < 16_000_000


# --- the screen ---------------------------------------------------------------------------


def _session(folder: Path, name: str, **fields: str) -> None:
    folder.mkdir(exist_ok=True)
    text = "".join(f"{key}={value}\n" for key, value in fields.items())
    (folder / name).write_text(f"# This is private data. Do not parse.\n{text}")


def _screen(folder: Path, **environment: str) -> Reading:
    source = Screen(sessions=folder, environment=environment, user=1000)
    return source.read(0.0)["screen.session"]


def test_the_active_session_on_a_seat_owns_the_screen(tmp_path: Path) -> None:
    _session(tmp_path, "1", UID="1000", ACTIVE="1", SEAT="seat0", TYPE="wayland", CLASS="user")
    _session(tmp_path, "2", UID="1000", ACTIVE="1", TYPE="tty", REMOTE="1")
    reading = _screen(tmp_path)
    assert (reading.value, reading.raw) == ("wayland", "seat0")


def test_the_screen_of_another_user_is_not_ours(tmp_path: Path) -> None:
    """A greeter that waits for a password, or somebody else."""
    _session(tmp_path, "c1", UID="120", ACTIVE="1", SEAT="seat0", TYPE="x11", CLASS="greeter")
    _session(tmp_path, "2", UID="1000", ACTIVE="0", SEAT="seat0", TYPE="x11", DISPLAY=":0")
    reading = _screen(tmp_path, DISPLAY=":0")
    assert (reading.value, reading.why) == (
        None,
        "the screen belongs to another user's session",
    )


def test_without_the_login_service_the_environment_tells(tmp_path: Path) -> None:
    reading = _screen(tmp_path / "none", DISPLAY=":0")
    assert (reading.value, reading.raw) == ("x11", "DISPLAY=:0")
    both = _screen(tmp_path / "none", DISPLAY=":0", WAYLAND_DISPLAY="wayland-0")
    assert both.value == "wayland"


def test_a_rig_reached_from_afar_only_has_no_screen(tmp_path: Path) -> None:
    _session(tmp_path, "5", UID="1000", ACTIVE="1", TYPE="tty", REMOTE="1")
    reading = _screen(tmp_path)
    assert reading.why == (
        "no session owns a screen, and neither DISPLAY nor WAYLAND_DISPLAY is set"
    )
