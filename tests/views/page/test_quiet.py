"""While a pass is in progress on its rig the page does next to nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from harness.rig.locks import RunnerLock
from harness.store.sqlite_file import SqliteFile
from tests.views.page.nights import AT, KEYS, QUAY, RUN, Place, pass_in_progress, started

WORK = [
    f"/api/runs/{RUN}/results",
    f"/api/runs/{RUN}/cells/{QUAY}/1/frames",
    f"/api/runs/{RUN}/cells/{QUAY}/1/readings",
    "/api/compare?base=slot=alone&against=slot=shared",
    "/api/ceilings",
    "/api/drift",
    "/api/precision",
]


@pytest.mark.parametrize("path", WORK)
def test_what_takes_work_waits_for_the_end_of_a_pass(place: Place, path: str) -> None:
    def never(command: str, arguments: Sequence[str]) -> Mapping[str, Any]:
        raise AssertionError(f"{command} was worked out in a pass")

    client = place.client(place.page(ask=never))
    with pass_in_progress(place):
        answer = client.get(path)
    assert (answer.status_code, answer.json()["error"]["code"]) == (503, "pass-in-progress")


def test_a_look_in_a_pass_is_one_question_to_the_store(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, asked = place.client(), list[str]()
    rows = SqliteFile.rows

    def noted(self: SqliteFile, query: str, parameters: Sequence[object] = ()) -> list[Any]:
        asked.append(query)
        return rows(self, query, parameters)

    with pass_in_progress(place):
        monkeypatch.setattr(SqliteFile, "rows", noted)
        found = client.get("/api/look").json()
    assert asked == ["runs"]
    assert found["say"] == "a pass runs; next look after it"
    assert found["pass_in_progress"]["run"] == RUN


def test_the_next_look_comes_when_the_pass_may_be_over(place: Place) -> None:
    client = place.client()
    assert client.get("/api/look").json()["look_again_s"] == 5.0
    with pass_in_progress(place):
        client.get(f"/runs/{RUN}")  # the plan is at hand from here on: 90 s at the most
        late = client.get("/api/look").json()["look_again_s"]
        assert late == 10.0  # that pass is hours late: look, but rarely
    place.journal_of([])
    page = place.page()
    page.desk.now = lambda: AT.replace(hour=23, minute=0, second=20)
    soon = place.client(page)
    with RunnerLock(place.rig, plan="p", now=AT):
        soon.get(f"/runs/{RUN}")
        assert soon.get("/api/look").json()["look_again_s"] == pytest.approx(70.0)


def test_the_gate_that_a_runner_waits_at_is_shown_with_its_reading_now(place: Place) -> None:
    place.journal_of([])
    client = place.client()
    gate = {
        "reading": "gpu.temperature", "bound": "at most 46 °C", "unit": "°C", "value": 51.0,
        "why": None, "met": False, "opens_at": "2026-11-02T23:03:00+00:00",
    }  # fmt: skip
    note = {
        "since": "2026-11-02T23:00:00+00:00",
        "at": "2026-11-02T23:01:00+00:00",
        "gates": [gate],
    }
    with RunnerLock(place.rig, plan="p", now=AT) as lock:
        lock.note(run=RUN, store=place.store)
        before = client.get("/api/look").json()["token"]
        lock.tell(note)
        assert client.get("/api/tonight").json()["current"]["doing"] == (
            "waits at a gate since 23:00:00 UTC: gpu.temperature at most 46 °C: 51 °C now, "
            "foretold to open at 23:03:00 UTC"
        )
        assert "51 °C now" in client.get("/").text
        assert client.get("/api/look").json()["token"] != before  # so that the page looks again
        lock.tell(None)
        assert client.get("/api/look").json()["token"] == before


def test_a_run_left_in_the_middle_of_a_pass_keeps_nothing_waiting(place: Place) -> None:
    place.journal_of([started(KEYS["Lantern Quay", "shared"], 1)])
    client = place.client()
    found = client.get("/api/tonight").json()
    assert "interrupted" in found["current"]["doing"]
    assert client.get(f"/api/runs/{RUN}/results").status_code == 200


def test_a_pass_that_is_kept_in_another_store_is_heeded_too(place: Place, tmp_path: Any) -> None:
    from tests.views.page.nights import made

    (tmp_path / "other").mkdir()
    other = made(tmp_path / "other")
    other.journal_of([started(KEYS["Lantern Quay", "shared"], 1)])
    with RunnerLock(place.rig, plan="p", now=AT) as lock:
        lock.note(run=RUN, store=other.store)
        assert place.client().get(f"/api/runs/{RUN}/results").status_code == 503


def test_what_was_worked_out_is_not_worked_out_again_until_a_record_comes(place: Place) -> None:
    from harness.commands.page import asked
    from tests.views.page.nights import STEP

    times = list[str]()

    def counted(command: str, arguments: Sequence[str]) -> Mapping[str, Any]:
        times.append(command)
        return asked(command, arguments)

    client = place.client(place.page(ask=counted))
    for _ in range(3):
        assert client.get(f"/api/runs/{RUN}/results").status_code == 200
    assert times == ["results"]
    place.journal_of(STEP)
    client.get(f"/api/runs/{RUN}/results")
    assert times == ["results", "results"]
