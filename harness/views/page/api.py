"""What the page gives to programs, and to its own script: JSON, frames, captures.

Touches disk, through the desk. Described in ``openapi.json`` beside this file.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from typing import Any

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from harness.errors import AskedError, Problem
from harness.plan.document import Title
from harness.run.records import BundleRef
from harness.views.page import actions, grid, passes
from harness.views.page import tonight as now
from harness.views.page.page import Page, answer_json, page_of
from harness.views.page.selections import arguments
from harness.views.page.trace import readings as readings_of
from harness.views.run_line import line_json

_CHUNK_BYTES = 1 << 16


def look(request: Request) -> Response:
    """Say whether anything came since, and when to look again: one question to the store."""
    page = page_of(request)
    lines = page.desk.lines()
    busy = page.desk.in_progress(lines)
    at = page.desk.now()
    line = next((each for each in lines if busy is not None and each.run == busy.run), None)
    known = None if line is None else page.desk.grid_at_hand(line.run)
    again_s = now.look_again_s(line, known, now=at, in_pass=busy is not None)
    return answer_json(
        {
            "schema": "harness.page.look/1",
            "token": look_token(page, lines),
            "look_again_s": again_s,
            "pass_in_progress": None
            if busy is None
            else {"run": busy.run, "cell": busy.cell, "attempt": busy.attempt, "since": busy.since},
            "say": "" if busy is None else "a pass runs; next look after it",
        }
    )


def look_token(page: Page, lines: Any) -> str:
    """Return what changes whenever a record comes, a hold stands or falls, or a gate is read."""
    held = "".join(f"!{each.id}" for each in page.desk.holds())
    runner = page.desk.owner()
    waits = "" if runner is None or runner.waits is None else f"@{runner.waits['at']}"
    return " ".join(f"{line.number}.{line.standing.seq}" for line in lines) + held + waits


def openapi(request: Request) -> Response:
    """Give the description of all this."""
    return Response(page_of(request).openapi, media_type="application/json")


def tonight(request: Request) -> Response:
    """Give what goes on."""
    page = page_of(request)
    found, again_s, label = whole_tonight(page)
    return answer_json(now.as_json(found, again_s=again_s, label=label))


def whole_tonight(page: Page) -> tuple[now.Tonight, float, str | None]:
    """Return what goes on, when to look again, and the label of the cell in a pass."""
    desk = page.desk
    lines = desk.lines()
    runner = desk.owner()
    gone = desk.interrupted(lines)
    found = now.tonight(lines, at=desk.now(), runner=runner, holds=desk.holds(), interrupted=gone)
    own = found.current
    known = desk.grid(own.run) if own is not None else None
    label = None
    if own is not None and known is not None and own.standing.cell in known.cells:
        label = known.cells[own.standing.cell].label
    in_pass = desk.in_progress(lines) is not None
    again_s = now.look_again_s(own, known, now=found.at, in_pass=in_pass)
    return found, again_s, label


def runs(request: Request) -> Response:
    """Give every run."""
    desk = page_of(request).desk
    lines = desk.lines(limit=-1)
    gone = desk.interrupted(lines)
    shown = [line_json(line, interrupted=gone[line.run]) for line in lines]
    return answer_json({"schema": "harness.page.runs/1", "runs": shown})


def run(request: Request) -> Response:
    """Give a run and where its cells stand."""
    desk = page_of(request).desk
    line, plan, standings = desk.run(request.path_params["run"])
    gone = desk.interrupted([line])[line.run]
    return answer_json(
        {
            "schema": "harness.page.run/1",
            **line_json(line, interrupted=gone),
            "step": now.step(line),
            "grid": [
                {
                    "cell": each.key,
                    "title": each.title,
                    "scene": each.scene,
                    "setting": each.setting,
                    "conditions": dict(each.levels),
                    "state": each.state,
                    "kept": each.kept,
                    "wanted": each.wanted,
                    "passes": dict(each.counts),
                }
                for each in grid.squares(line, plan, standings, interrupted=gone is True)
            ],
        }
    )


def results(request: Request) -> Response:
    """Give what ``harness results --json`` gives of a run."""
    desk, name = page_of(request).desk, request.path_params["run"]
    desk.grid(name)  # there is such a run
    return answer_json(desk.asked("results", [f"--run={name}"]))


def request(request: Request) -> Response:
    """Give what became of something that was asked of a run."""
    taken = request.path_params
    return answer_json(actions.answer(page_of(request).desk, taken["run"], taken["number"]))


def cell(request: Request) -> Response:
    """Give the passes of a cell, and its story."""
    name, key = request.path_params["run"], request.path_params["cell"]
    plan, story = page_of(request).desk.story(name, key)
    return answer_json(passes.as_json(name, key, plan, story, passes.pass_rows(story)))


def found_pass(request: Request) -> tuple[passes.PassRow, Title]:
    """Return the pass that an address names, and its title.

    Raises:
        AskedError: there is no such run, cell or attempt.
    """
    name, key = request.path_params["run"], request.path_params["cell"]
    plan, story = page_of(request).desk.story(name, key)
    attempt = request.path_params["attempt"]
    for row in passes.pass_rows(story):
        if row.attempt == attempt:
            return row, plan.titles[key]
    raise AskedError(
        Problem(
            code="no-such-attempt",
            what=f"cell {key} of run {name} has no attempt {attempt}",
            do="choose one of its passes",
        )
    )


def one_pass(request: Request) -> Response:
    """Give one pass."""
    row, _ = found_pass(request)
    return answer_json({"schema": "harness.page.pass/1", **passes.pass_json(row)})


def frames(request: Request) -> Response:
    """Give the frame times of a pass: 4 bytes each, milliseconds, single precision."""
    page = page_of(request)
    row, title = found_pass(request)
    capture = passes.capture_of(row, title)
    found = page.traces.kept(capture[1]) if capture is not None else None
    if found is None:
        with page.desk.work(), page.desk.opened() as store:
            found = page.traces.frames(store, row, title)
    return Response(
        found.ticks,
        media_type="application/octet-stream",
        headers={
            "x-frames": str(found.all_frames),
            "x-frames-last-s": f"{found.whole_s:.6f}",
            "cache-control": "private, max-age=86400",  # a capture never changes
        },
    )


def readings(request: Request) -> Response:
    """Give the readings of a pass over its time."""
    page = page_of(request)
    row, _ = found_pass(request)
    if row.bundle is None:
        return answer_json({"schema": "harness.page.readings/1", "into_s": [], "series": []})
    with page.desk.work(), page.desk.opened() as store:
        return answer_json(readings_of(store, row.bundle))


def capture(request: Request) -> Response:
    """Give a kept file of a pass, byte for byte, by its hash; held against it as it is sent."""
    page = page_of(request)
    row, _ = found_pass(request)
    wanted = request.path_params["sha256"]
    bundle = row.bundle
    members = () if bundle is None else bundle.members
    named = next(((name, size) for name, sha256, size in members if sha256 == wanted), None)
    if named is None or bundle is None:
        raise AskedError(
            Problem(
                code="no-such-file",
                what="this pass kept no file with that hash",
                do="choose one that the pass lists",
            )
        )
    name, size = named
    with page.desk.work():
        pass  # not while a pass is in progress; the sending itself holds nothing up
    return StreamingResponse(
        _chunks(page, bundle, name),
        media_type="application/octet-stream",
        headers={
            "content-length": str(size),
            "content-disposition": f'attachment; filename="{_file_name(name)}"',
            # RFC 9530: what the content is to be held against
            "repr-digest": f"sha-256=:{base64.b64encode(bytes.fromhex(wanted)).decode()}:",
        },
    )


def _chunks(page: Page, bundle: BundleRef, name: str) -> Iterator[bytes]:
    from harness.store.files import DiskFiles
    from harness.store.members import open_member

    with open_member(page.desk.store, bundle, name, files=DiskFiles()) as file:
        while chunk := file.read(_CHUNK_BYTES):
            yield chunk


def _file_name(name: str) -> str:
    """Return a name for a download that no system reads as anything but a file's name."""
    last = name.rsplit("/", 1)[-1]
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in last)
    return plain.lstrip(".") or "capture"


def _asked(request: Request, command: str) -> Response:
    found = page_of(request).desk.asked(
        command, arguments(command, request.query_params.multi_items())
    )
    return answer_json(found)


def compare(request: Request) -> Response:
    """Give what ``harness compare --json`` gives."""
    return _asked(request, "compare")


def ceilings(request: Request) -> Response:
    """Give what ``harness ceilings --json`` gives."""
    return _asked(request, "ceilings")


def drift(request: Request) -> Response:
    """Give what ``harness drift --json`` gives."""
    return _asked(request, "drift")


def precision(request: Request) -> Response:
    """Give what ``harness precision --json`` gives."""
    return _asked(request, "precision")


def plans(request: Request) -> Response:
    """Give the plans that may be queued, and those that are."""
    queue = page_of(request).queue
    return answer_json(
        {
            "schema": "harness.page.plans/1",
            "plans": [{"name": each.name} for each in queue.plans()],
            "queue": queue.put is not None,
            "entries": [_or_null(each.as_dict()) for each in queue.entries()],
        }
    )


def _or_null(fields: dict[str, Any]) -> dict[str, Any]:
    return {name: None if value == "" else value for name, value in fields.items()}
