"""Real connections: a visitor who is slow, or sends nothing, hurts nobody."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from harness.views.page import server as served
from harness.views.page.app import make_app
from harness.views.page.door import door
from tests.views.page.nights import Place

pytestmark = pytest.mark.slow


@contextmanager
def serving(place: Place) -> Iterator[tuple[str, int]]:
    bound = served.listening("127.0.0.1", 0)
    port = bound.getsockname()[1]
    place.way = door(host="127.0.0.1", port=port, names=(), tls=False, proxy=False)
    app: Any = make_app(place.page())
    server = served.make_server(app)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    try:
        yield "127.0.0.1", port
    finally:
        server.stop()
        thread.join(timeout=20)
        bound.close()
        assert not thread.is_alive()


def ask(address: tuple[str, int], path: str = "/api/look") -> bytes:
    with socket.create_connection(address, timeout=10) as line:
        host = f"{address[0]}:{address[1]}"
        line.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
        found = b""
        while part := line.recv(65536):
            found += part
    return found


def closed(line: socket.socket) -> bool:
    try:
        return line.recv(1) == b""
    except ConnectionError:
        return True


def test_who_sends_nothing_or_too_slowly_is_let_go(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(served, "REQUEST_S", 0.3)
    with serving(place) as address:
        silent = socket.create_connection(address, timeout=10)
        slow = socket.create_connection(address, timeout=10)
        slow.sendall(b"GET / HTTP/1.1\r\nHo")
        body = socket.create_connection(address, timeout=10)
        body.sendall(
            b"POST /session HTTP/1.1\r\nHost: %b:%d\r\nContent-Length: 10\r\n\r\nab"
            % (address[0].encode(), address[1])
        )
        assert b"200 OK" in ask(address)
        for line in (silent, slow, body):
            with line:
                while not closed(line):
                    pass  # what was answered before


def test_there_is_room_for_so_many_and_the_others_are_turned_away_at_once(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(served, "MOST_CONNECTIONS", 3)
    with serving(place) as address:
        lines = [socket.create_connection(address, timeout=10) for _ in range(3)]
        with socket.create_connection(address, timeout=10) as fourth:
            assert closed(fourth)
        for line in lines:
            line.close()


def test_headers_without_end_are_refused(place: Place) -> None:
    with serving(place) as address, socket.create_connection(address, timeout=10) as line:
        line.sendall(b"GET / HTTP/1.1\r\n")
        try:
            for number in range(40):
                line.sendall(b"X-%d: %b\r\n" % (number, b"a" * 1000))
            found = line.recv(4096)
        except ConnectionError:
            found = b"HTTP/1.1 400 "
        assert found.startswith(b"HTTP/1.1 400 ") or found == b""


def test_the_server_sleeps_while_nobody_asks(place: Place) -> None:
    """Figure 22: idle it wakes up not at all; uvicorn's own loop would ten times a second."""
    import asyncio

    turns = 0
    select: Any = asyncio.SelectorEventLoop._run_once  # type: ignore[attr-defined]

    def counted(self: Any) -> None:
        nonlocal turns
        turns += 1
        select(self)

    patch = pytest.MonkeyPatch()
    patch.setattr(asyncio.SelectorEventLoop, "_run_once", counted, raising=False)
    try:
        with serving(place) as address:
            ask(address)
            threading.Event().wait(0.3)
            before = turns
            threading.Event().wait(1.2)
            assert turns - before <= 1
    finally:
        patch.undo()
