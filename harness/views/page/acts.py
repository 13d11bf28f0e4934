"""The doors for what a person may ask: forms of the page, and the same for programs.

Touches disk, through the actions. Each takes its values from a form or from a JSON object, and
needs a session with its own word against forgery, or the token itself.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Awaitable, Callable, Mapping
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qsl, quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from harness.errors import AskedError, Problem, RigError
from harness.views.page import actions
from harness.views.page.guard import COOKIE, cookie
from harness.views.page.page import answer_json, html, is_part, page_of, session_of
from harness.views.page.visitors import SESSION_S, name_of

Values = Mapping[str, Any]


class _Given:
    """What came with a request, taken out by name; whatever is not as it must be is refused."""

    def __init__(self, values: Values, *, by: str) -> None:
        self._values, self.by = values, by

    def text(self, name: str) -> str:
        value = self._values.get(name, "")
        if not isinstance(value, str):
            raise _refused(f"{name} is a text")
        return value

    def number(self, name: str) -> int:
        value = self._values.get(name)
        text = str(value) if isinstance(value, int | str) and not isinstance(value, bool) else ""
        if not text.isascii() or not text.isdigit() or len(text) > 9:
            raise _refused(f"{name} is a whole number")
        return int(text)

    def yes(self, name: str) -> bool:
        value = self._values.get(name, False)
        if value not in (True, False, "yes", ""):
            raise _refused(f"{name} is yes or no")
        return value in (True, "yes")

    def texts(self, name: str) -> list[str]:
        value = self._values.get(name, [])
        found = [value] if isinstance(value, str) else value
        if not isinstance(found, list) or not all(isinstance(each, str) for each in found):
            raise _refused(f"{name} is a list of texts")
        return found


Act = Callable[[Request, _Given], dict[str, Any]]


def _confirm(request: Request, given: _Given) -> dict[str, Any]:
    desk, run = page_of(request).desk, request.path_params["run"]
    number = actions.confirm(
        desk, run, by=given.by, step=given.number("step"), attending=given.yes("attending"),
        note=given.text("note"),
    )  # fmt: skip
    return actions.answer(desk, run, number)


def _rerun(request: Request, given: _Given) -> dict[str, Any]:
    desk, run = page_of(request).desk, request.path_params["run"]
    number = actions.rerun(
        desk, run, by=given.by, cells=given.texts("cells"), because=given.text("because")
    )
    return actions.answer(desk, run, number)


def _stop(request: Request, given: _Given) -> dict[str, Any]:
    desk, run = page_of(request).desk, request.path_params["run"]
    number = actions.stop(desk, run, by=given.by, note=given.text("note"))
    return actions.answer(desk, run, number)


def _release(request: Request, given: _Given) -> dict[str, Any]:
    desk, hold = page_of(request).desk, request.path_params["hold"]
    actions.release(desk, hold, by=given.by, note=given.text("note"))
    left = [each.id for each in desk.holds()]
    text = "released; " + (
        f"still held by {', '.join(left)}"
        if left
        else "the rig is free, and the run goes on with the next start of its plan"
    )
    return {
        "schema": "harness.page.released/1", "released": hold, "still_held_by": left,
        "by": given.by, "answer": text,
    }  # fmt: skip


def _queue(request: Request, given: _Given) -> dict[str, Any]:
    name = given.text("plan")
    text = actions.put_plan(page_of(request).queue, name, by=given.by)
    return {"schema": "harness.page.queued/1", "plan": name, "by": given.by, "answer": text}


#: Address -> what it does.
ACTS: Mapping[str, Act] = MappingProxyType(
    {
        "/runs/{run}/confirm": _confirm,
        "/runs/{run}/rerun": _rerun,
        "/runs/{run}/stop": _stop,
        "/holds/{hold}/release": _release,
        "/queue": _queue,
    }
)


def act(what: Act) -> Callable[[Request], Awaitable[Response]]:
    """Return the door to an action: who asks, what was given, and the answer in its form."""

    async def answered(request: Request) -> Response:
        values = await _values(request)
        given = _Given(values, by=_by(request, values))
        answer = await run_in_threadpool(what, request, given)
        if request.url.path.startswith("/api/"):
            return answer_json(answer)
        return await run_in_threadpool(_said, request, answer, queue=what is _queue)

    return answered


def _said(request: Request, answer: dict[str, Any], *, queue: bool) -> Response:
    """Return an answer as a page or a part of one; with it the queue, where that has changed."""
    template = "parts/said.html" if is_part(request) else "said.html"
    entries = page_of(request).queue.entries() if queue else None
    return html(request, template, said=answer, entries=entries)


async def open_session(request: Request) -> Response:
    """Let in whoever shows the token and names themselves."""
    values = await _values(request)
    given = _Given(values, by="")
    page, name = page_of(request), name_of(given.text("name"))
    if not page.visitors.knows(given.text("token").strip()) or name is None:
        say = (
            "this is not the page's token"
            if name
            else "say who you are: it is kept with what you ask"
        )
        return await run_in_threadpool(
            html, request, "session.html", status=403, say=say, back=back_to(given.text("back"))
        )
    key, _ = page.visitors.admit(name, now_s=page.steady_s())
    response = RedirectResponse(back_to(given.text("back")), status_code=303)
    response.set_cookie(
        COOKIE, key, max_age=int(SESSION_S), path="/", httponly=True, samesite="strict",
        secure=page.door.scheme == "https",
    )  # fmt: skip
    return response


async def close_session(request: Request) -> Response:
    """Forget a session."""
    values = await _values(request)
    if session_of(request) is not None:
        _by(request, values)
        page_of(request).visitors.dismiss(cookie(request.scope["headers"]))
    response = RedirectResponse("/", status_code=303)
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return response


def _by(request: Request, values: Values) -> str:
    """Return who asks.

    Raises:
        RigError: a session without its own word: another site may have sent the browser here.
        AskedError: a program that shows the token does not say for whom it asks.
    """
    session = session_of(request)
    if session is not None and not request.scope["harness.bearer"]:
        word = request.headers.get("x-harness-csrf") or values.get("csrf", "")
        if not isinstance(word, str) or not hmac.compare_digest(
            word.encode(), session.csrf.encode()
        ):
            raise Forged(
                Problem(
                    code="forged",
                    what="this form is not of your session",
                    do="load the page again and ask once more",
                )
            )
        return session.name
    name = name_of(values.get("by", "")) if isinstance(values.get("by"), str) else None
    if name is None:
        raise _refused("by is missing: who asks is kept with what is asked")
    return name


class Forged(RigError):
    """A form came back without the word that it was given."""


async def _values(request: Request) -> Values:
    """Return the values of a form, or of a JSON object. A name that stands twice is a list."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    body = await request.body()
    try:
        if kind == "application/json":
            found = json.loads(body)
            if isinstance(found, dict):
                return found
        if kind == "application/x-www-form-urlencoded":
            pairs = parse_qsl(
                body.decode("utf-8"), keep_blank_values=True, max_num_fields=actions.MOST_CELLS + 20
            )
            values: dict[str, Any] = {}
            for name, value in pairs:
                if name in values:
                    before = values[name]
                    values[name] = [*(before if isinstance(before, list) else [before]), value]
                else:
                    values[name] = value
            return values
    except (ValueError, RecursionError):
        pass
    raise _refused("neither a form nor a JSON object came")


def back_to(text: str) -> str:
    """Return the page's own address that a visitor came from; never one of another place."""
    ours = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return quote(text, safe="/?=&%+:") if ours else "/"


def _refused(what: str) -> AskedError:
    return AskedError(Problem(code="bad-request", what=what, do="ask with the page's own forms"))
