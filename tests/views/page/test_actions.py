"""What a person asks for on the page, and what is kept of it."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from harness.rig.holds import Holds
from harness.rig.tasks import Hold
from harness.run import records as r
from harness.run.attendance import STAY, WHY
from harness.run.records import Request, RequestKind
from harness.store.sqlite import open_store
from harness.views.safety import FIRST_PASS
from tests.views.page.nights import BOOT, FAILED, QUAY, RUN, STEP, Place, come_in, origin, shown


def requests(place: Place) -> tuple[Request, ...]:
    with open_store(place.store, write=False) as store:
        return store.requests(RUN)


def test_a_step_is_confirmed_by_name_by_somebody_who_stays(
    place: Place, client: TestClient
) -> None:
    place.journal_of(STEP)
    csrf = come_in(client, "Ana")
    form = {"csrf": csrf, "step": "2", "attending": "yes", "note": "seated  it twice"}
    headers = {"origin": origin(client), "hx-request": "true"}
    answer = client.post(f"/runs/{RUN}/confirm", data=form, headers=headers)
    assert answer.status_code == 200, answer.text
    [asked] = requests(place)
    assert (asked.kind, asked.by, asked.step) == (RequestKind.CONFIRM, "Ana", 2)
    assert (asked.attending, asked.note) == (True, "seated it twice")
    assert "request 1, asked by Ana" in answer.text


def test_an_opened_case_is_not_confirmed_by_somebody_who_leaves(place: Place) -> None:
    place.journal_of(STEP)
    client = place.client()
    answer = client.post(
        f"/api/runs/{RUN}/confirm", json={"step": 2, "by": "Ana"}, headers=shown(client)
    )
    assert (answer.status_code, answer.json()["error"]["code"]) == (400, "not-attended")
    assert requests(place) == ()


def test_somebody_says_on_the_page_that_they_stay_for_the_first_pass(place: Place) -> None:
    stay = r.StepAsked(
        step=3, levels=(), say=(STAY,), opens_case=False, reboot=False, boot=BOOT, why=WHY,
        attend=True,
    )  # fmt: skip
    place.journal_of([r.BlockClosed(block=0), stay])
    client = place.client()
    url = f"/api/runs/{RUN}/confirm"
    refused = client.post(url, json={"step": 3, "by": "Ana"}, headers=shown(client))
    assert (refused.status_code, refused.json()["error"]["code"]) == (400, "not-attended")
    body = {"step": 3, "by": "Ana", "attending": True}
    assert client.post(url, json=body, headers=shown(client)).status_code == 200
    assert [(each.step, each.attending) for each in requests(place)] == [(3, True)]
    come_in(client)
    text = client.get("/").text
    assert STAY in text
    first, *others = FIRST_PASS  # the first is what STAY says
    assert first not in text
    assert all(words in text for words in others)
    assert "I am with the rig, says" in text
    assert 'name="attending" value="yes" required' in text


@pytest.mark.parametrize("step", [1, 3, "x", -1, True, 10**12])
def test_only_the_step_that_is_open_is_confirmed(place: Place, step: object) -> None:
    place.journal_of(STEP)
    client = place.client()
    body = {"step": step, "attending": True, "by": "Ana"}
    answer = client.post(f"/api/runs/{RUN}/confirm", json=body, headers=shown(client))
    assert answer.status_code == 400
    assert requests(place) == ()


def test_the_chosen_cells_are_measured_again(place: Place, client: TestClient) -> None:
    csrf = come_in(client, "Ana")
    form = {"csrf": csrf, "cells": [QUAY, FAILED, QUAY], "because": "dust"}
    answer = client.post(f"/runs/{RUN}/rerun", data=form, headers={"origin": origin(client)})
    assert "the next start of the plan answers" in answer.text
    [asked] = requests(place)
    assert (asked.kind, asked.cells, asked.note) == (RequestKind.RERUN, (QUAY, FAILED), "dust")


@pytest.mark.parametrize(
    "body",
    [{}, {"cells": []}, {"cells": ["0" * 12]}, {"cells": [QUAY, 7]}, {"cells": {"a": 1}},
     {"cells": [QUAY], "because": "x" * 501}, {"cells": [QUAY], "because": "a\x00b"}],
)  # fmt: skip
def test_a_rerun_of_nothing_or_of_nonsense_is_refused(
    place: Place, body: dict[str, object]
) -> None:
    client = place.client()
    answer = client.post(f"/api/runs/{RUN}/rerun", json=body | {"by": "A"}, headers=shown(client))
    assert answer.status_code == 400
    assert requests(place) == ()


def test_a_run_is_stopped_after_its_pass(place: Place) -> None:
    client = place.client()
    answer = client.post(f"/api/runs/{RUN}/stop", json={"by": "Ana"}, headers=shown(client))
    assert answer.status_code == 200
    assert [each.kind for each in requests(place)] == [RequestKind.STOP]


def test_a_hold_is_released_by_name_and_once(place: Place) -> None:
    holds = Holds(place.rig)
    holds.hold(Hold(id="h-1", run="", reason="hot", do="cool", at="2026-11-02T23:00:00"))
    client = place.client()
    body = {"by": "Ana", "note": "the filter was cleaned"}
    answer = client.post("/api/holds/h-1/release", json=body, headers=shown(client))
    assert answer.json()["still_held_by"] == []
    assert holds.standing() == ()
    assert [(x.by, x.note) for x in holds.releases()] == [("Ana", "the filter was cleaned")]
    again = client.post("/api/holds/h-1/release", json=body, headers=shown(client))
    assert again.status_code == 404


def test_a_queued_plan_is_shown_with_whoever_asked(place: Place) -> None:
    client = place.client()
    word = come_in(client, "Ana & Co")
    assert "Nothing is on this rig's queue" in client.get("/plans").text
    asked = client.post(
        "/queue",
        data={"plan": "night.yaml", "csrf": word},
        headers={"origin": origin(client), "hx-request": "true"},
    )
    for text in (asked.text, client.get("/plans").text):
        text = " ".join(text.split())
        assert "<td>in its nights</td><td>Ana &amp; Co</td>" in text
    [entry] = client.get("/api/plans").json()["entries"]
    assert (entry["by"], entry["start"], entry["last"]) == ("Ana & Co", None, None)


def test_a_queued_plan_that_is_kept_in_another_store_says_so(place: Place) -> None:
    place.queued += [("here.yaml", "Ines"), ("there.yaml", "Ana")]
    rows = place.client().get("/plans").text.split("<tr>")[-2:]
    assert ["a store that this page does not show" in row for row in rows] == [False, True]


def test_where_no_queue_is_kept_none_can_be_put_there(place: Place) -> None:
    from dataclasses import replace

    from harness.views.page.actions import Queue

    page = place.page()
    page = replace(page, queue=Queue(plans=page.queue.plans, put=None))
    client = place.client(page)
    answer = client.post(
        "/api/queue", json={"plan": "night.yaml", "by": "A"}, headers=shown(client)
    )
    assert answer.json()["error"]["code"] == "no-queue"
    assert "harness run PLAN" in client.get("/plans").text
