"""The server under the page: it wakes up only when somebody asks.

Touches the network and the process's signals. uvicorn looks ten times a second whether it is to
stop; on a rig that is nine too many in a pass, so this one sleeps until it is told. A visitor who
sends nothing, or too slowly, is let go; there is room for so many at once, and no more.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
from types import FrameType
from typing import Any

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from harness.errors import AskedError, Problem

REQUEST_S = 10.0  #: for a whole request, from the connection or from the answer before it
IDLE_S = 75.0  #: that a connection is kept with nothing asked: longer than a pass is usually away
MOST_CONNECTIONS = 64
MOST_HEADER_BYTES = 16 << 10


class PatientProtocol(H11Protocol):
    """One connection, for as long as its visitor keeps to the time."""

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, if there is room for it."""
        if len(self.connections) >= MOST_CONNECTIONS:
            transport.abort()
            return
        super().connection_made(transport)
        self._deadline = self.loop.call_later(REQUEST_S, self._let_go)

    def data_received(self, data: bytes) -> None:
        """Take more of a request; its time runs from its first byte."""
        if self._deadline is None:
            self._deadline = self.loop.call_later(REQUEST_S, self._let_go)
        super().data_received(data)
        if self.conn.their_state in (h11.DONE, h11.MUST_CLOSE, h11.CLOSED, h11.ERROR):
            self._on_time()

    def on_response_complete(self) -> None:
        """Go on with the next request of the connection."""
        self._on_time()
        super().on_response_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        self._on_time()
        if self.transport is not None:
            super().connection_lost(exc)

    def _on_time(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _let_go(self) -> None:
        self._deadline = None
        if self.transport is not None:
            self.transport.abort()


class QuietServer(uvicorn.Server):
    """uvicorn without its clock."""

    _over: asyncio.Event | None = None
    _loop: asyncio.AbstractEventLoop | None = None

    async def main_loop(self) -> None:
        """Sleep until a signal, or whoever holds this server, ends it."""
        self._loop, self._over = asyncio.get_running_loop(), asyncio.Event()
        if not self.should_exit:
            await self._over.wait()

    def stop(self) -> None:
        """End the server, from whichever thread."""
        self.should_exit = True
        if self._loop is not None and self._over is not None:
            self._loop.call_soon_threadsafe(self._over.set)

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Take a signal: the first ends the server in order, the second at once."""
        super().handle_exit(sig, frame)
        self.stop()


def make_server(app: Any, *, tls: ssl.SSLContext | None = None) -> QuietServer:
    """Return the server of *app*, which speaks *tls*; its sockets are handed to ``run``."""
    config = uvicorn.Config(
        app,
        http=PatientProtocol,
        ws="none",
        lifespan="off",
        loop="asyncio",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        timeout_keep_alive=int(IDLE_S),
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=MOST_HEADER_BYTES,
    )
    config.load()
    config.ssl = tls  # made by us: uvicorn's own says nothing to who comes in the clear
    return QuietServer(config)


def listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens; port 0 takes one that is free.

    Raises:
        AskedError: it cannot be had.
    """
    address = host.strip("[]")
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    # Named as TCP, so that asyncio sends small answers at once (TCP_NODELAY).
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((address, port))
        bound.listen(MOST_CONNECTIONS)
    except OSError as error:
        bound.close()
        raise AskedError(
            Problem(
                code="no-address",
                what=f"the page cannot listen on {host}, port {port}: {error.strerror or error}",
                do="give another --port (0 takes one that is free), or another --host",
            )
        ) from error
    bound.setblocking(False)
    return bound
