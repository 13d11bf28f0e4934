"""The page as one application: its routes, and what becomes of an error.

Touches nothing by itself. Every address is listed here; what it takes from the address is an id,
never a path.
"""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from harness.errors import HarnessError, Problem, as_json
from harness.views.page import acts, api, looks
from harness.views.page.desk import PassInProgress
from harness.views.page.guard import App, Guard
from harness.views.page.page import Page, answer_json, html, is_part

#: Codes of problems that say that something is not there.
_NOT_THERE = frozenset(
    (
        "no-such-run", "no-such-cell", "no-such-attempt", "no-such-file", "no-such-request",
        "no-such-plan", "no-such-hold", "no-frames", "no-run", "no-store", "no-record",
    )
)  # fmt: skip

_RUN = "/runs/{run}"
_CELL = _RUN + "/cells/{cell}"
_PASS = _CELL + "/{attempt:int}"


def make_app(page: Page) -> App:
    """Return the page, guarded."""
    app = Starlette(
        routes=[
            *_looks(),
            *_api(),
            *_acts(),
            Route("/static/{name}", looks.static),
            Route("/favicon.ico", looks.icon),
        ],
        exception_handlers={HarnessError: _told, HTTPException: _http},
    )
    app.router.redirect_slashes = False  # an address is one, or it is none
    app.state.page = page
    return Guard(app, door=page.door, visitors=page.visitors, steady_s=page.steady_s)


def _looks() -> list[Route]:
    return [
        Route("/", looks.tonight),
        Route("/parts/ahead/{run}", looks.ahead),
        Route("/runs", looks.runs),
        Route(_RUN, looks.run),
        Route(_CELL, looks.cell),
        Route(_PASS, looks.one_pass),
        Route("/compare", looks.compare),
        Route("/ceilings", looks.ceilings),
        Route("/drift", looks.drift),
        Route("/rigs", looks.rigs),
        Route("/plans", looks.plans),
        Route("/session", looks.session),
    ]


def _api() -> list[Route]:
    gets: dict[str, Callable[[Request], Response]] = {
        "/look": api.look,
        "/openapi.json": api.openapi,
        "/tonight": api.tonight,
        "/runs": api.runs,
        _RUN: api.run,
        _RUN + "/results": api.results,
        _RUN + "/requests/{number:int}": api.request,
        _CELL: api.cell,
        _PASS: api.one_pass,
        _PASS + "/frames": api.frames,
        _PASS + "/readings": api.readings,
        _PASS + "/captures/{sha256}": api.capture,
        "/compare": api.compare,
        "/ceilings": api.ceilings,
        "/drift": api.drift,
        "/precision": api.precision,
        "/plans": api.plans,
    }
    return [Route(f"/api{path}", answer) for path, answer in gets.items()]


def _acts() -> list[Route]:
    return [
        *(
            Route(f"{start}{path}", acts.act(what), methods=["POST"])
            for path, what in acts.ACTS.items()
            for start in ("/api", "")
        ),
        Route("/session", acts.open_session, methods=["POST"]),
        Route("/session/close", acts.close_session, methods=["POST"]),
    ]


def status_of(error: HarnessError) -> int:
    """Return the HTTP status that says what an error is about."""
    code = error.problems[0].code
    if isinstance(error, PassInProgress):
        return HTTPStatus.SERVICE_UNAVAILABLE
    if code in _NOT_THERE:
        return HTTPStatus.NOT_FOUND
    return {2: HTTPStatus.BAD_REQUEST, 3: HTTPStatus.CONFLICT}.get(
        int(error.status), HTTPStatus.INTERNAL_SERVER_ERROR
    )


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, HarnessError)
    return await run_in_threadpool(told, request, list(error.problems), status_of(error))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    status = HTTPStatus(error.status_code)
    problem = Problem(
        code=status.phrase.lower().replace(" ", "-"),
        what=error.detail
        if error.detail != status.phrase
        else f"{request.url.path}: {status.phrase}",
        do="start from the first view, /",
    )
    answer = await run_in_threadpool(told, request, [problem], status)
    answer.headers.update(error.headers or {})  # with 405, which methods there are
    return answer


def told(request: Request, problems: list[Problem], status: int) -> Response:
    """Return what went wrong, as whoever asked can read it."""
    if request.url.path.startswith("/api/"):
        shown = [as_json(each) for each in problems]
        return answer_json({"error": shown[0], "errors": shown}, status=status)
    template = "parts/problem.html" if is_part(request) else "problem.html"
    return html(request, template, status=status, problems=problems)
