"""What programs get: as openapi.json says, and as it was kept."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import struct
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from starlette.routing import Route
from starlette.testclient import TestClient

from harness.views.page import app as pages
from harness.views.page.page import HERE
from tests.views.page.nights import (
    FAILED,
    FRAMES_MS,
    KEYS,
    QUAY,
    RUN,
    STEP,
    Place,
    pass_in_progress,
    shown,
)

OPENAPI = json.loads((HERE / "openapi.json").read_text(encoding="utf-8"))
PASS = f"/api/runs/{RUN}/cells/{QUAY}/1"


def plain(path: str) -> str:
    return re.sub(r":\w+}", "}", path)


def routes() -> set[tuple[str, str]]:
    made: list[Route] = [*pages._api(), *pages._acts()]
    return {
        (plain(route.path), method.lower())
        for route in made
        if route.path.startswith("/api/")
        for method in (route.methods or set()) - {"HEAD"}
    }


def assert_described(path: str, answer: Any, *, method: str = "get") -> None:
    """Hold an answer against the description of its address, OpenAPI 3.1 (JSON Schema 2020-12)."""
    told = OPENAPI["paths"][path][method]["responses"][str(answer.status_code)]
    schema = told["content"]["application/json"]["schema"]
    jsonschema.Draft202012Validator({**schema, "components": OPENAPI["components"]}).validate(
        answer.json()
    )


def test_every_address_is_described_and_nothing_else_is() -> None:
    described = {(path, method) for path, of in OPENAPI["paths"].items() for method in of}
    assert described == routes()


def test_every_schema_of_the_description_is_one() -> None:
    for schema in OPENAPI["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("where", ["accepted", "step", "pass"])
def test_answers_are_as_they_are_described(place: Place, where: str) -> None:
    if where == "step":
        place.journal_of(STEP)
    client = place.client()
    run, cell, failed = f"/api/runs/{RUN}", f"/api/runs/{RUN}/cells/{QUAY}", FAILED
    asked = {
        "/api/look": "/api/look",
        "/api/tonight": "/api/tonight",
        "/api/runs": "/api/runs",
        "/api/runs/{run}": run,
        "/api/runs/{run}/results": f"{run}/results",
        "/api/runs/{run}/cells/{cell}": cell,
        "/api/runs/{run}/cells/{cell}/{attempt}": f"{run}/cells/{failed}/2",
        "/api/runs/{run}/cells/{cell}/{attempt}/readings": f"{cell}/1/readings",
        "/api/compare": "/api/compare?base=slot=alone&against=slot=shared",
        "/api/ceilings": "/api/ceilings",
        "/api/drift": "/api/drift?where=setting=fhd",
        "/api/precision": "/api/precision",
        "/api/plans": "/api/plans",
    }

    def hold() -> None:
        for path, address in asked.items():
            assert_described(path, client.get(address))

    if where != "pass":
        hold()
        return
    with pass_in_progress(place):
        hold()


def test_what_is_not_there_is_told_as_described(client: TestClient) -> None:
    for path, address in {
        "/api/runs/{run}": "/api/runs/none",
        "/api/runs/{run}/cells/{cell}": f"/api/runs/{RUN}/cells/{'0' * 12}",
        "/api/runs/{run}/requests/{number}": f"/api/runs/{RUN}/requests/7",
        # more than a database holds in one number
        "/api/runs/{run}/requests/{number} ": f"/api/runs/{RUN}/requests/{'9' * 40}",
        "/api/runs/{run}/cells/{cell}/{attempt}": f"/api/runs/{RUN}/cells/{QUAY}/9",
    }.items():
        answer = client.get(address)
        assert answer.status_code == 404
        assert_described(path.strip(), answer)


def test_frames_are_those_of_the_capture(client: TestClient) -> None:
    answer = client.get(f"{PASS}/frames")
    assert answer.headers["x-frames"] == "400"
    assert float(answer.headers["x-frames-last-s"]) == pytest.approx(sum(FRAMES_MS) / 1000)
    # IEEE 754 single precision, little-endian; struct is the reference
    assert answer.content == struct.pack("<400f", *(round(each, 4) for each in FRAMES_MS))


def test_a_pass_without_a_capture_has_no_frames(client: TestClient) -> None:
    answer = client.get(f"/api/runs/{RUN}/cells/{FAILED}/1/frames")
    assert (answer.status_code, answer.json()["error"]["code"]) == (404, "no-frames")
    readings = client.get(f"/api/runs/{RUN}/cells/{FAILED}/1/readings").json()
    assert readings["series"] == []


def test_a_reading_that_was_not_measured_is_null_and_never_nought(client: TestClient) -> None:
    found = client.get(f"{PASS}/readings").json()
    assert found["into_s"] == [0.0, 1.0, 2.0]
    assert {each["name"]: each["values"] for each in found["series"]} == {
        "gpu.temperature": [58.0, None, 64.0],
        "gpu.link.width": [None, 16.0, 16.0],
    }


def test_a_capture_comes_byte_for_byte_with_its_hash(client: TestClient, place: Place) -> None:
    files = client.get(PASS).json()["files"]
    kept = next(each for each in files if each["name"] == "captures/frames.csv")
    answer = client.get(f"{PASS}/captures/{kept['sha256']}")
    digest = hashlib.sha256(answer.content)
    assert digest.hexdigest() == kept["sha256"]
    assert answer.content == (place.folder / "frames.csv").read_bytes()
    # RFC 9530, section 3: the digest as a byte sequence of structured fields
    assert (
        answer.headers["repr-digest"] == f"sha-256=:{base64.b64encode(digest.digest()).decode()}:"
    )
    assert answer.headers["content-disposition"] == 'attachment; filename="frames.csv"'


def test_a_damaged_capture_is_never_handed_out_as_whole(place: Place) -> None:
    [first, *_] = sorted((place.store / "bundles").rglob("*.zst"))
    first.write_bytes(first.read_bytes()[:-40])
    client = place.client(raise_server_exceptions=False)
    kept = client.get(PASS).json()["files"][0]
    assert client.get(f"{PASS}/frames").status_code == 500
    # The answer breaks off short of its length, so that no client takes it for the file.
    with pytest.raises(RuntimeError, match="response already started"):
        place.client().get(f"{PASS}/captures/{kept['sha256']}")


def test_figures_are_the_ones_that_the_command_gives(client: TestClient) -> None:
    [quay] = [
        each
        for each in client.get(f"/api/runs/{RUN}/results").json()["cells"]
        if each["cell"] == QUAY
    ]
    rate = 1000 * len(FRAMES_MS) / sum(FRAMES_MS)
    assert quay["figures"]["average_fps"]["mean"] == pytest.approx(rate + 0.15)


def test_a_request_is_answered_by_the_runner_and_told(client: TestClient, place: Place) -> None:
    from harness.run import records as r

    asked = client.post(
        f"/api/runs/{RUN}/rerun",
        json={"cells": [FAILED], "because": "the fan was stuck", "by": "Ana"},
        headers=shown(client),
    )
    assert_described("/api/runs/{run}/rerun", asked, method="post")
    assert asked.json()["accepted"] is None
    place.journal_of([r.RequestAnswered(request=1, accepted=True, answer="1 cell is measured")])
    answer = client.get(f"/api/runs/{RUN}/requests/1")
    assert_described("/api/runs/{run}/requests/{number}", answer)
    assert (answer.json()["accepted"], answer.json()["by"]) == (True, "Ana")


def test_an_older_store_is_told_in_words_and_not_touched(tmp_path: Path) -> None:
    place = Place(tmp_path)
    client = place.client()
    assert client.get("/api/runs").json()["runs"] == []
    assert client.get("/").status_code == 200
    assert not place.store.exists()


def test_a_run_whose_runner_was_killed_in_a_pass_is_told_as_interrupted(
    place: Place, client: TestClient
) -> None:
    cell = KEYS["Lantern Quay", "shared"]
    with pass_in_progress(place):
        assert client.get("/api/runs").json()["runs"][0]["interrupted"] is False
    tonight, one = client.get("/api/tonight").json(), client.get(f"/api/runs/{RUN}").json()
    told = [*client.get("/api/runs").json()["runs"], *tonight["runs"], tonight["current"], one]
    assert [each["interrupted"] for each in told] == [True] * 4
    assert tonight["current"]["doing"].startswith("interrupted in a pass, attempt 1: ")
    assert {each["state"] for each in one["grid"] if each["cell"] == cell} == {"open"}


def test_of_a_run_of_another_rig_it_is_not_known_whether_its_runner_is_gone(place: Place) -> None:
    page = place.page()
    page.desk.node = "bench-4"
    (line,) = place.client(page).get("/api/runs").json()["runs"]
    assert line["interrupted"] is None
