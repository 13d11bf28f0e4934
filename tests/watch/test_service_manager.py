"""What systemd is told, against a socket as sd_notify(3) describes it."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from harness.watch.service_manager import ServiceManager


@pytest.mark.parametrize("abstract", [False, True])
def test_one_datagram_for_each_telling(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, abstract: bool
) -> None:
    name = f"@bench-{os.getpid()}" if abstract else str(tmp_path / "s")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(name.replace("@", "\0", 1))
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        ServiceManager().tell("READY=1", "STATUS=next start: none")
        assert manager.recv(200) == b"READY=1\nSTATUS=next start: none"


def test_it_is_told_three_times_in_each_span_that_it_watches(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", "90000000")
    assert ServiceManager().every_s == 30.0


def test_a_span_that_is_another_process_s_is_not_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", "90000000")
    monkeypatch.setenv("WATCHDOG_PID", "1")
    assert ServiceManager().every_s is None


def test_without_a_manager_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    ServiceManager().tell("READY=1")


def test_a_runner_does_not_inherit_the_socket(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", "/nowhere")
    ServiceManager().tell("READY=1")
    assert "NOTIFY_SOCKET" not in os.environ
