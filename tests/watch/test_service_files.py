"""The unit and the logon task as texts."""

from __future__ import annotations

import configparser
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from harness.watch.login_session import login_session
from harness.watch.service_files import logon_task, systemd_unit

COMMAND = ("/opt/my bench/python", "-m", "harness", "daemon")


def test_the_unit_stops_in_order_and_hands_its_group_over() -> None:
    text = systemd_unit(COMMAND, environment={"PATH": "/usr/bin", "HARNESS_RIG": "/r 1/100%"})
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read_string(text)
    service = unit["Service"]

    assert service["ExecStart"] == '"/opt/my bench/python" -m harness daemon'
    assert (service["Type"], service["KillMode"], service["Delegate"]) == ("notify", "mixed", "yes")
    assert int(service["TimeoutStopSec"]) > 40  # what the daemon itself waits for its runner
    assert 'Environment="HARNESS_RIG=/r 1/100%%"' in text
    assert not {"PrivateTmp", "Nice", "CPUAffinity"} & set(service)


def test_a_dollar_is_doubled_in_the_command_and_nowhere_else() -> None:
    text = systemd_unit(("/opt/$x/python",), environment={"PATH": "/opt/$x"})

    assert "ExecStart=/opt/$$x/python\n" in text
    assert "Environment=PATH=/opt/$x\n" in text


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not here")
def test_systemd_takes_the_unit_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "bench-harness.service"
    path.write_text(systemd_unit(("/bin/true",), environment={"PATH": "/usr/bin"}))

    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(path)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "")


def test_the_task_runs_in_the_session_of_whoever_logs_on_without_a_time_limit() -> None:
    text = logon_task(("C:\\py thon.exe", "-m", "harness"), user="LAB\\ana & co")
    space = {"t": "http://schemas.microsoft.com/windows/2004/02/mit/task"}
    root = ET.fromstring(text.replace(' encoding="UTF-16"', ""))

    assert root.findtext(".//t:LogonType", namespaces=space) == "InteractiveToken"
    assert root.findtext(".//t:ExecutionTimeLimit", namespaces=space) == "PT0S"
    assert root.findtext(".//t:LogonTrigger/t:UserId", namespaces=space) == "LAB\\ana & co"
    assert root.findtext(".//t:Arguments", namespaces=space) == "-m harness"


@pytest.mark.parametrize(
    ("text", "scope"),
    [
        ("0::/user.slice/user-1000.slice/session-c2.scope\n", "session-c2.scope"),
        ("1:name=systemd:/user.slice/user-0.slice/session-1.scope\n", "session-1.scope"),
        ("0::/system.slice/bench-harness.service\n", ""),
        ("0::/\n", ""),
        ("", ""),
    ],
)
def test_a_login_s_scope_is_told_from_a_service(text: str, scope: str) -> None:
    assert login_session(text) == scope
