"""The daemon's page with real processes: there, back when it was killed, gone with the daemon."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.end_to_end.test_daemon import Night, until
from tests.end_to_end.test_kill import alive

pytestmark = pytest.mark.slow


class Watched(Night):
    """A place with a daemon that starts a page on a free port."""

    def events_of(self, event: str) -> list[str]:
        return [
            str(x.get("address") or x.get("why")) for x in self.log_lines() if x["event"] == event
        ]

    def page(self, daemon: subprocess.Popen[str]) -> int:
        """Return the number of the daemon's page."""
        children = Path(f"/proc/{daemon.pid}/task/{daemon.pid}/children").read_text(
            encoding="ascii"
        )
        [pid] = [
            int(each)
            for each in children.split()
            if b"\0page\0" in Path(f"/proc/{each}/cmdline").read_bytes()
        ]
        return pid


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Watched]:
    found = Watched(tmp_path)
    with found:
        yield found


def shown(address: str) -> str:
    with urllib.request.urlopen(address, timeout=10) as answer:
        return str(answer.read().decode())


def test_the_page_is_there_comes_back_when_killed_and_ends_with_the_daemon(place: Watched) -> None:
    place.settings("watch: {page_options: [--port, '0']}")
    daemon = place.start("daemon")
    until(lambda: place.events_of("the page is there"))
    assert "Tonight" in shown(place.events_of("the page is there")[0])

    first = place.page(daemon)
    os.kill(first, signal.SIGKILL)
    until(lambda: len(place.events_of("the page is there")) == 2)
    assert place.events_of("no page") == ["exit status -9"]
    second = place.page(daemon)
    assert second != first
    assert "Tonight" in shown(place.events_of("the page is there")[1])

    daemon.send_signal(signal.SIGTERM)
    out, err = daemon.communicate(timeout=30)
    assert daemon.returncode == 0, out + err
    assert not alive(second)


def test_a_page_does_not_outlive_a_daemon_that_is_killed(place: Watched) -> None:
    place.settings("watch: {page_options: [--port, '0']}")
    daemon = place.start("daemon")
    until(lambda: place.events_of("the page is there"))
    page = place.page(daemon)

    daemon.kill()
    daemon.communicate(timeout=20)

    until(lambda: not alive(page))


def test_a_port_that_somebody_has_costs_a_line_and_the_night_goes_on(place: Watched) -> None:
    with socket.socket() as somebody:
        somebody.bind(("127.0.0.1", 0))
        somebody.listen()
        port = somebody.getsockname()[1]
        place.settings(f"watch: {{page_options: [--port, '{port}']}}")
        place.queue()
        daemon = place.start("daemon")
        until(lambda: any(x["event"] == "left" for x in place.log_lines()))
        until(lambda: place.events_of("no page"))
        daemon.send_signal(signal.SIGTERM)
        daemon.communicate(timeout=30)

    [why] = place.events_of("no page")
    assert f"the page cannot listen on 127.0.0.1, port {port}: Address already in use" in why
    [left] = [x for x in place.log_lines() if x["event"] == "left"]
    assert left["how"] == "finished"


@pytest.mark.parametrize("how", ["setting", "option"])
def test_a_daemon_that_shall_not_starts_no_page(place: Watched, how: str) -> None:
    place.settings("watch: {page: false}" if how == "setting" else "watch: {page_options: []}")
    daemon = place.start("daemon", *(["--no-page"] if how == "option" else []))
    until(lambda: any(x["event"] == "next start" for x in place.log_lines()))
    children = Path(f"/proc/{daemon.pid}/task/{daemon.pid}/children").read_text(encoding="ascii")
    assert children == ""
