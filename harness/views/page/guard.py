"""What every request passes first: name, size, rate, origin, time; and the headers of answers.

Touches the clock. An ASGI layer around the whole page, so that no route can be without it. A
request that is turned away has read nothing and costs next to nothing.
"""

from __future__ import annotations

import asyncio
import json
import math
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.exceptions import HTTPException

from harness.errors import Problem, as_json
from harness.views.page.door import Door
from harness.views.page.rates import Rate, Rates
from harness.views.page.visitors import Visitors

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BODY_BYTES = 64 << 10
MOST_PATH = 512
MOST_QUERY = 4096
ANSWER_S = 60.0  #: for one answer, from its request to its last byte
DOWNLOAD_S = 600.0  #: the same, for a capture
COOKIE = "harness-session"

LOOKS = Rate(burst=240, per_s=40)
ACTS = Rate(burst=20, per_s=0.5)
TRIES = Rate(burst=5, per_s=1 / 12)  #: of a token

#: Everything comes from this page itself; no script and no style stands in a page's own text.
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

_HEADERS = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),  # with no-referrer a form would tell no Origin
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), usb=()"),
)
_OPEN_TO_ALL = ("/session", "/static/")
_LOOKING = ("GET", "HEAD")  #: every other method is taken for one that acts


class Guard:
    """Turns away what may not come in, and bounds what does.

    Args:
        app: The page.
        door: Under which names it answers.
        visitors: Who has shown the token.
        steady_s: Seconds on a clock that never goes back.
    """

    def __init__(
        self, app: App, *, door: Door, visitors: Visitors, steady_s: Callable[[], float]
    ) -> None:
        self._app, self._door, self._visitors, self._steady_s = app, door, visitors, steady_s
        self._looks, self._acts, self._tries = Rates(LOOKS), Rates(ACTS), Rates(TRIES)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        sent = _Sent(send)
        away = self._away(scope)
        if away is not None:
            await _answer(sent, *away)
            return
        limit_s = DOWNLOAD_S if "/captures/" in scope["path"] else ANSWER_S
        try:
            async with asyncio.timeout(limit_s):
                await self._app(scope, _Bounded(receive), sent)
        except TimeoutError:
            # Too slow a visitor, or too long a work: the connection goes, nobody waits for it.
            if not sent.begun:
                await _answer(sent, 503, _problem("too-slow", "this took too long", "ask again"))
            else:
                raise

    def _away(self, scope: Scope) -> tuple[int, Problem] | tuple[int, Problem, float] | None:
        """Return with what a request is turned away; None: it may come in."""
        headers: list[tuple[bytes, bytes]] = scope["headers"]
        hosts = [value for name, value in headers if name == b"host"]
        if len(hosts) != 1 or _text(hosts[0]).lower() not in self._door.hosts:
            return 421, _problem(
                "wrong-name",
                "this page does not answer to that name",
                "open it under the name that was printed when it was started",
            )
        if len(scope["raw_path"]) > MOST_PATH or len(scope["query_string"]) > MOST_QUERY:
            return 414, _problem("address-too-long", "this address is too long", "shorten it")
        acts, path = scope["method"] not in _LOOKING, scope["path"]
        turn = self._turn(scope)
        if turn > 0:
            return 429, _problem("too-often", "this was asked too often", "wait a little"), turn
        length = _one(headers, b"content-length")
        if length is not None and (not length.isdigit() or int(length) > MOST_BODY_BYTES):
            return 413, _TOO_LARGE
        bearer = self._bearer(headers)
        if acts and not self._same_origin(headers, bearer=bearer):
            return 403, _problem(
                "other-origin",
                "this was not asked by the page itself",
                "open the page and ask there; a program shows the token in Authorization",
            )
        session = self._visitors.session(cookie(headers), now_s=self._steady_s())
        scope["harness.session"], scope["harness.bearer"] = session, bearer
        open_to_all = path.startswith(_OPEN_TO_ALL) and ".." not in path
        if open_to_all or session is not None or bearer:
            return None
        if acts or self._door.token_to_read:
            return 401, _problem(
                "token-needed", "this needs the page's token", "show it at /session"
            )
        return None

    def _turn(self, scope: Scope) -> float:
        visitor, now_s = (scope.get("client") or ("?",))[0], self._steady_s()
        wait_s = self._looks.wait_s(visitor, now_s=now_s)
        if scope["method"] not in _LOOKING:
            wait_s = max(wait_s, self._acts.wait_s(visitor, now_s=now_s))
        shows = any(name == b"authorization" for name, _ in scope["headers"])
        if (shows and not self._bearer(scope["headers"])) or (
            scope["method"] == "POST" and scope["path"] == "/session"
        ):
            wait_s = max(wait_s, self._tries.wait_s(visitor, now_s=now_s))
        return wait_s

    def _bearer(self, headers: list[tuple[bytes, bytes]]) -> bool:
        shown = _one(headers, b"authorization") or ""
        scheme, _, token = shown.partition(" ")
        return scheme.lower() == "bearer" and self._visitors.knows(token.strip())

    def _same_origin(self, headers: list[tuple[bytes, bytes]], *, bearer: bool) -> bool:
        origin, site = _one(headers, b"origin"), _one(headers, b"sec-fetch-site")
        if site not in (None, "same-origin"):
            return False
        if origin is None:
            return bearer  # a program: no browser shows the token by itself
        return origin.lower() in self._door.origins


class _Bounded:
    """Hands the body on, up to its bound."""

    def __init__(self, receive: Receive) -> None:
        self._receive, self._taken = receive, 0

    async def __call__(self) -> Message:
        message = await self._receive()
        self._taken += len(message.get("body", b""))
        if self._taken > MOST_BODY_BYTES:
            raise HTTPException(413, f"more than {MOST_BODY_BYTES} bytes were sent")
        return message


class _Sent:
    """Hands an answer on, with the headers that every answer has."""

    def __init__(self, send: Send) -> None:
        self._send, self.begun = send, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = list(message.get("headers", ()))
            there = {name for name, _ in headers}
            if b"cache-control" not in there:
                headers.append((b"cache-control", b"no-store"))
            message = {**message, "headers": [*headers, *_HEADERS]}
        await self._send(message)


def cookie(headers: list[tuple[bytes, bytes]]) -> str | None:
    """Return the session's id that a request brings, or None."""
    for name, value in headers:
        if name == b"cookie":
            for part in _text(value).split(";"):
                key, _, text = part.strip().partition("=")
                if key == COOKIE:
                    return text
    return None


async def _answer(send: Send, status: int, problem: Problem, wait_s: float = 0.0) -> None:
    told = as_json(problem)
    body = json.dumps({"error": told, "errors": [told]}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
    if wait_s > 0:
        headers.append((b"retry-after", b"%d" % math.ceil(wait_s)))
    headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _one(headers: list[tuple[bytes, bytes]], wanted: bytes) -> str | None:
    """Return the one value of a header; the empty text where it came twice."""
    found = [value for name, value in headers if name == wanted]
    if not found:
        return None
    return _text(found[0]) if len(found) == 1 else ""


def _text(value: bytes) -> str:
    return value.decode("latin-1")


def _problem(code: str, what: str, do: str) -> Problem:
    return Problem(code=code, what=what, do=do)


_TOO_LARGE = _problem(
    "too-large", f"more than {MOST_BODY_BYTES} bytes were sent", "send less at once"
)
