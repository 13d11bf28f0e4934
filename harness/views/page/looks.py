"""What the page shows to people: one function for each view.

Touches disk, through the desk. A view shows at once what the store has counted; what takes work
comes as a part of its own, and waits while a pass is in progress.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from harness.errors import HarnessError, Problem
from harness.rules.figures import low_name
from harness.store.standing import RunLine
from harness.views.interrupted import phase_words
from harness.views.page import api, grid, passes, pictures
from harness.views.page import tonight as now
from harness.views.page.acts import back_to
from harness.views.page.desk import Desk, PassInProgress
from harness.views.page.page import html, is_part, page_of
from harness.views.page.selections import arguments
from harness.views.safety import UNATTENDED
from harness.views.story import sentence

_YEAR_S = 31_536_000


def tonight(request: Request) -> Response:
    """Show what goes on."""
    page = page_of(request)
    found, again_s, label = api.whole_tonight(page)
    own = found.current
    return html(
        request,
        "parts/tonight.html" if is_part(request) else "tonight.html",
        found=found,
        own=own,
        line=own,
        step=None if own is None else now.step(own),
        doing=""
        if own is None
        else now.doing(
            own,
            label=label,
            at_work=found.runner is not None,
            interrupted=found.interrupted[own.run],
            waits_at=found.waits_at,
        ),
        phases=found.phases,
        again_s=again_s,
        token=api.look_token(page, found.lines),
        unattended=UNATTENDED,
        last=None if own is None else page.desk.last_readings(own),
    )


def ahead(request: Request) -> Response:
    """Show what comes next in a run, and the time left."""
    page, name = page_of(request), request.path_params["run"]
    line, _, _ = page.desk.run(name)
    return html(request, "parts/ahead.html", ahead=page.ahead.of(line))


def runs(request: Request) -> Response:
    """Show every run."""
    desk = page_of(request).desk
    lines = desk.lines(limit=500)
    return html(request, "runs.html", lines=lines, phases=_phases(desk, lines))


def _phases(desk: Desk, lines: Sequence[RunLine]) -> dict[str, str]:
    gone = desk.interrupted(lines)
    return {line.run: phase_words(line, gone[line.run]) for line in lines}


def run(request: Request) -> Response:
    """Show the grid of a run: what is doubtful first."""
    page, name = page_of(request), request.path_params["run"]
    line, plan, standings = page.desk.run(name)
    results, later = None, ""
    if request.query_params.get("figures") != "no":
        try:
            results = page.desk.asked("results", [f"--run={name}"])
        except PassInProgress:
            later = "figures and flags are worked out when the pass in progress is over"
        except HarnessError as error:
            later = error.problems[0].what
    gone = page.desk.interrupted([line])[name]
    squares = grid.squares(line, plan, standings, results=results, interrupted=gone is True)
    states = frozenset(request.query_params.getlist("state")) & frozenset(grid.STATES)
    wanted = grid.Filter(states=states, text=request.query_params.get("text", "")[:100])
    counts = {state: sum(each.state == state for each in squares) for state in grid.STATES}
    return html(
        request,
        "parts/grid.html" if is_part(request) else "run.html",
        line=line,
        phase=phase_words(line, gone),
        plan=plan.plan,
        step=now.step(line),
        doubtful=grid.doubtful(squares),
        board=grid.board(squares, wanted),
        wanted=wanted,
        counts=counts,
        later=later,
        again_s=now.LOOK_AGAIN_S,
        token=api.look_token(page, page.desk.lines()),
    )


def cell(request: Request) -> Response:
    """Show the passes of a cell, and its story."""
    page = page_of(request)
    name, key = request.path_params["run"], request.path_params["cell"]
    plan, story = page.desk.story(name, key)
    rows = passes.pass_rows(story)
    return html(
        request,
        "cell.html",
        run=name,
        key=key,
        cell=plan.cells[key],
        line=page.desk.run(name)[0],
        rows=rows,
        figures=passes.shown_figures(rows, low=low_name("low_1pct_fps", plan.plan.compare.low)),
        story=[(each, sentence(each.record, plan)) for each in story],
    )


def one_pass(request: Request) -> Response:
    """Show one pass: its frame times over its readings."""
    row, title = api.found_pass(request)
    name, key = request.path_params["run"], request.path_params["cell"]
    plan = page_of(request).desk.grid(name)
    return html(
        request,
        "pass.html",
        run=name,
        key=key,
        cell=plan.cells[key],
        row=row,
        capture=passes.capture_of(row, title),
        cut=title.cut,
    )


# ------------------------------------------------------------------ what commands work out


def compare(request: Request) -> Response:
    """Show margins between two selections."""
    found, problems = _worked_out(request, "compare", needs=("base", "against"))
    reach = 0.0
    if found is not None:
        ends = [abs(row[end]) for row in found["rows"] for end in ("low", "high", "margin")
                if row[end] is not None]  # fmt: skip
        reach = min(1.0, math.ceil(max([2 * found["band"], *ends]) * 102) / 100)
    return html(
        request, "compare.html", found=found, problems=problems, reach=reach,
        query=request.query_params, choices=_choices(request),
    )  # fmt: skip


def ceilings(request: Request) -> Response:
    """Show rates that a level never exceeds."""
    found, problems = _worked_out(request, "ceilings")
    drawn = [] if found is None else [
        (each, pictures.ceilings(each, condition=found["condition"])) for each in found["titles"]
    ]  # fmt: skip
    return html(
        request, "ceilings.html", found=found, drawn=drawn, problems=problems,
        query=request.query_params, choices=_choices(request),
    )  # fmt: skip


def drift(request: Request) -> Response:
    """Show whether rigs still measure what they measured."""
    found, problems = _worked_out(request, "drift")
    drawn = [] if found is None else [
        (each, pictures.drift(each)) for each in found["series"] if each["values"]
    ]  # fmt: skip
    return html(
        request, "drift.html", found=found, drawn=drawn, problems=problems,
        query=request.query_params,
    )  # fmt: skip


def rigs(request: Request) -> Response:
    """Show the rigs of the store, and how far they agree."""
    found, problems = _worked_out(request, "precision")
    desk = page_of(request).desk
    lines = desk.lines(limit=500)
    latest: dict[str, Any] = {}
    counts: dict[str, int] = {}
    for line in lines:
        latest.setdefault(line.rig, line)
        counts[line.rig] = counts.get(line.rig, 0) + 1
    return html(
        request, "rigs.html", found=found, problems=problems, latest=latest, counts=counts,
        phases=_phases(desk, [*latest.values()]),
        query=request.query_params,
    )  # fmt: skip


def _worked_out(
    request: Request, command: str, *, needs: tuple[str, ...] = ()
) -> tuple[Mapping[str, Any] | None, list[Problem]]:
    """Return what a command gives for an address, or what it says against it."""
    query = request.query_params.multi_items()
    given = {key for key, value in query if value.strip()}
    if any(key not in given for key in needs) and not given:
        return None, []
    try:
        return page_of(request).desk.asked(command, arguments(command, query)), []
    except HarnessError as error:
        return None, list(error.problems)


def _choices(request: Request) -> list[str]:
    """Return what can be selected in the latest run: KEY=VALUE of its levels, and its runs."""
    desk = page_of(request).desk
    lines = desk.lines(limit=5)
    if not lines:
        return []
    plan = desk.grid(lines[0].run).plan
    levels = [f"{each.name}={level.name}" for each in plan.conditions for level in each.levels]
    settings = [f"setting={each.name}" for each in plan.settings]
    titles = [f"title={each.title}" for each in plan.titles]
    return [*levels, *settings, *titles, *(f"run={line.run}" for line in lines)]


# ------------------------------------------------------------------ the rest


def plans(request: Request) -> Response:
    """Show the plans that may be queued."""
    queue = page_of(request).queue
    return html(
        request,
        "plans.html",
        plans=queue.plans(),
        queue=queue.put is not None,
        entries=queue.entries(),
        unattended=UNATTENDED,
    )


def session(request: Request) -> Response:
    """Ask for the token and a name."""
    back = back_to(request.query_params.get("back", "/"))
    return html(request, "session.html", say="", back=back)


def static(request: Request) -> Response:
    """Give one of the files that are served as they are; their names are all there is."""
    found = page_of(request).static.get(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    if request.headers.get("if-none-match") == found.tag:
        return Response(status_code=304, headers={"etag": found.tag})
    packed = "gzip" in request.headers.get("accept-encoding", "")
    headers = {
        "etag": found.tag,
        "cache-control": f"public, max-age={_YEAR_S if request.query_params else 60}",
        "vary": "accept-encoding",
    }
    if packed:
        headers["content-encoding"] = "gzip"
    return Response(found.packed if packed else found.data, media_type=found.type, headers=headers)


def icon(request: Request) -> Response:
    """Give the picture that browsers ask for by themselves."""
    found = page_of(request).static["mark.svg"]
    return Response(found.data, media_type=found.type)
