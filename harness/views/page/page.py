"""The parts of the page that every answer needs, in one place; and answers as HTML or JSON.

Touches disk: templates and vendored files are read once, at the start.
"""

from __future__ import annotations

import gzip
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from harness import __version__
from harness.views import numbers
from harness.views.harness_cost import cost_words
from harness.views.page import pictures, shown
from harness.views.page.actions import Queue
from harness.views.page.ahead import Ahead
from harness.views.page.desk import Desk
from harness.views.page.door import Door
from harness.views.page.trace import Traces
from harness.views.page.visitors import Session, Visitors
from harness.views.safety import cautions

HERE = Path(__file__).parent

_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}

#: Name of a view -> its address, as the bar at the top shows them.
VIEWS = (
    ("Tonight", "/"),
    ("Runs", "/runs"),
    ("Compare", "/compare"),
    ("Ceilings", "/ceilings"),
    ("Drift", "/drift"),
    ("Rigs", "/rigs"),
    ("Plans", "/plans"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StaticFile:
    """A file that is served as it is."""

    data: bytes
    packed: bytes
    type: str
    tag: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What answers need."""

    desk: Desk
    ahead: Ahead
    door: Door
    visitors: Visitors
    queue: Queue
    steady_s: Callable[[], float]
    traces: Traces = field(default_factory=Traces)
    templates: Environment = field(default_factory=lambda: _templates())
    static: Mapping[str, StaticFile] = field(default_factory=lambda: _static())
    openapi: str = field(
        default_factory=lambda: (HERE / "openapi.json").read_text(encoding="utf-8")
    )


def page_of(request: Request) -> Page:
    """Return the page that a request came to."""
    found: Page = request.app.state.page
    return found


def session_of(request: Request) -> Session | None:
    """Return the session of whoever asks; None: they have not shown the token."""
    found: Session | None = request.scope.get("harness.session")
    return found


def html(request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
    """Return a page, or a part of one, made from a template; all text in it is escaped."""
    page = page_of(request)
    session = session_of(request)
    text = page.templates.get_template(template).render(
        node=page.desk.node,
        views=VIEWS,
        path=request.url.path,
        version=__version__,
        session=session,
        csrf=session.csrf if session else "",
        **values,
    )
    return HTMLResponse(text, status_code=status)


def answer_json(value: Mapping[str, Any], *, status: int = 200) -> Response:
    """Return an object of the API."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    return Response(text, status_code=status, media_type="application/json")


def is_part(request: Request) -> bool:
    """Return whether a part of a page is wanted, to be put into the one that is open."""
    return request.headers.get("hx-request") == "true"


def _templates() -> Environment:
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.filters.update(
        instant=shown.instant,
        number=numbers.number,
        with_interval=numbers.with_interval,
        per_cent=shown.per_cent,
        cost=cost_words,
        size=shown.size,
    )
    made.globals.update(tally=pictures.tally, interval=pictures.interval, cautions=cautions)
    return made


def _static() -> dict[str, StaticFile]:
    """Read what is served: the names are the whole of what can be asked for."""
    found = {}
    for path in sorted((HERE / "static").iterdir()):
        if path.suffix in _TYPES:
            data = path.read_bytes()
            found[path.name] = StaticFile(
                data=data,
                packed=gzip.compress(data, 9, mtime=0),
                type=_TYPES[path.suffix],
                tag=f'"{hashlib.sha256(data).hexdigest()[:20]}"',
            )
    return found
