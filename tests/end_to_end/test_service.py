"""The service command in a home of the test's own, with stand-ins for the service manager."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.end_to_end.runs import ROOT, Place

pytestmark = pytest.mark.slow

#: Writes down how it was called; fails where a file called ``refuses`` says so.
STAND_IN = """\
#!/bin/sh
echo "$(basename "$0") $*" >> "{folder}/called"
if [ -e "{folder}/refuses" ]; then echo "Failed to connect to bus" >&2; exit 1; fi
"""


@dataclass
class Home(Place):
    """A home with nothing in it, and a service manager that only writes down."""

    def __post_init__(self) -> None:
        super().__post_init__()
        programs = self.folder / "programs"
        programs.mkdir()
        for name in ("systemctl", "loginctl"):
            program = programs / name
            program.write_text(STAND_IN.format(folder=self.folder), encoding="utf-8")
            program.chmod(0o755)

    def environment(self) -> dict[str, str]:
        environment = {**super().environment(), "HOME": str(self.folder), "LOGNAME": "ana"}
        environment.pop("XDG_CONFIG_HOME", None)
        return {**environment, "PATH": f"{self.folder / 'programs'}:{os.environ['PATH']}"}

    @property
    def unit(self) -> Path:
        return self.folder / ".config" / "systemd" / "user" / "bench-harness.service"

    def called(self) -> list[str]:
        path = self.folder / "called"
        return path.read_text(encoding="utf-8").splitlines() if path.exists() else []


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path)


INSTALLED = [
    "systemctl --user daemon-reload",
    "systemctl --user enable --now bench-harness.service",
    "loginctl enable-linger ana",
]
REMOVED = [
    "systemctl --user disable --now bench-harness.service",
    "systemctl --user daemon-reload",
]


def test_without_yes_it_says_what_it_will_do_and_does_nothing(home: Home) -> None:
    status, out, err = home.harness("service", "install")

    assert (status, err) == (0, "")
    assert out.startswith(f"this will be done with --yes:\n  write {home.unit}:\n")
    for command in INSTALLED:
        assert f"\n  {command}\n" in out
    assert f"ExecStart={sys.executable} -m harness daemon\n" in out
    assert not home.unit.exists()
    assert home.called() == []


def test_with_yes_it_is_done_and_remove_undoes_it(home: Home) -> None:
    status, out, err = home.harness("service", "install", "--yes")
    assert (status, err) == (0, "")
    assert out.startswith("done:\n")
    assert home.called() == INSTALLED
    text = home.unit.read_text(encoding="utf-8")
    assert f"Environment=HARNESS_RIG={home.folder / 'rig'}\n" in text

    status, out, err = home.harness("service", "remove", "--yes")
    assert (status, err) == (0, "")
    assert home.called() == [*INSTALLED, *REMOVED]
    assert not home.unit.exists()
    assert f"remove {home.unit}" in out

    status, _, err = home.harness("service", "remove", "--yes")
    assert (status, "error[not-installed]" in err) == (2, True)


def test_where_the_service_manager_refuses_nothing_is_left(home: Home) -> None:
    (home.folder / "refuses").touch()

    status, _, err = home.harness("service", "install", "--yes")

    assert status == 2
    assert "systemctl --user daemon-reload failed: Failed to connect to bus" in err
    assert "the unit's file was taken back" in err
    assert not home.unit.exists()


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not here")
def test_systemd_takes_the_unit_that_was_written(home: Home) -> None:
    home.harness("service", "install", "--yes")

    done = subprocess.run(
        ["systemd-analyze", "verify", "--user", "--man=no", str(home.unit)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "XDG_RUNTIME_DIR": str(home.folder)},
    )

    assert (done.returncode, done.stderr) == (0, "")


def test_the_unit_s_own_command_starts_a_daemon_that_says_it_is_ready(home: Home) -> None:
    """As systemd would: the unit's environment and command, and a socket to tell it on."""
    import socket

    home.harness("service", "install", "--yes")
    lines = home.unit.read_text(encoding="utf-8").splitlines()
    given = dict(
        line.partition("=")[2].partition("=")[::2] for line in lines if line[:12] == "Environment="
    )
    [command] = [line.partition("=")[2].split() for line in lines if line[:10] == "ExecStart="]
    home.folder.joinpath("rig").mkdir()
    (home.folder / "rig" / "rig.yaml").write_text("watch: {page: false}\n", encoding="utf-8")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(home.folder / "notify"))
        manager.settimeout(20)
        more: dict[str, Any] = {"NOTIFY_SOCKET": str(home.folder / "notify"), **given}
        with subprocess.Popen(
            command,
            env={**more, "HOME": str(home.folder), "PYTHONPATH": str(ROOT)},
            cwd=home.folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        ) as daemon:
            ready = manager.recv(4096).decode().splitlines()
            daemon.terminate()
            stopping = manager.recv(4096).decode()
            _, err = daemon.communicate(timeout=30)
    assert "READY=1" in ready
    assert "WATCHDOG=1" in ready
    assert stopping == "STOPPING=1"
    assert (daemon.returncode, err) == (0, b"")
