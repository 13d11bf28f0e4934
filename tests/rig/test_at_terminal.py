"""Who starts a command at a terminal is with the rig; what a pipe or a service starts is not."""

from __future__ import annotations

import getpass
import io
import os
import sys
from collections.abc import Iterator

import pytest

from harness.rig.at_terminal import person_at_terminal


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Give this process a terminal of its own, and a login."""
    master, slave = os.openpty()
    with os.fdopen(slave, encoding="utf-8") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        monkeypatch.setattr(getpass, "getuser", lambda: "mira")
        monkeypatch.delenv("SSH_CONNECTION", raising=False)
        yield
    os.close(master)


@pytest.mark.usefixtures("terminal")
def test_who_starts_it_at_a_terminal_is_named_by_the_login() -> None:
    assert person_at_terminal() == "mira"


@pytest.mark.usefixtures("terminal")
@pytest.mark.parametrize("error", [KeyError, OSError, ImportError])
def test_where_there_is_no_login_nobody_is_known(
    error: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody() -> str:
        raise error("no such login")

    monkeypatch.setattr(getpass, "getuser", nobody)
    assert person_at_terminal() == ""


@pytest.mark.usefixtures("terminal")
def test_who_came_over_the_network_is_not_with_the_rig(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SSH_CONNECTION", "192.0.2.7 50100 192.0.2.9 22")  # as ssh(1) writes it
    assert person_at_terminal() == ""


@pytest.mark.parametrize("stdin", [None, io.StringIO("yes")])
def test_without_a_terminal_nobody_is_known(
    stdin: io.StringIO | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", stdin)
    assert person_at_terminal() == ""


def test_with_a_closed_input_nobody_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    stdin = io.StringIO()
    stdin.close()
    monkeypatch.setattr(sys, "stdin", stdin)
    assert person_at_terminal() == ""
