"""A test for every line of what the page promises about its safety."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from harness.errors import AskedError
from harness.store.sqlite import open_store
from harness.views.page.door import door
from harness.views.page.guard import COOKIE, MOST_BODY_BYTES
from harness.views.page.visitors import SESSION_S, Visitors
from tests.views.page.nights import (
    FAILED,
    NASTY,
    ORIGIN,
    QUAY,
    RUN,
    STEP,
    TOKEN,
    Place,
    come_in,
    origin,
    shown,
)

RERUN = f"/api/runs/{RUN}/rerun"
OUTSIDE = door(host="192.0.2.7", port=8017, names=("rig-7.lan",), tls=True, proxy=False)


def requests(place: Place) -> list[str]:
    with open_store(place.store, write=False) as store:
        return [each.by for each in store.requests(RUN)]


# ------------------------------------------------------------------ bound to this machine


def test_beyond_this_machine_the_page_is_not_served_in_the_clear() -> None:
    with pytest.raises(AskedError, match="without encryption"):
        door(host="192.0.2.7", port=8017, names=(), tls=False, proxy=False)


def test_behind_a_proxy_the_page_must_know_its_name() -> None:
    with pytest.raises(AskedError, match="under which name"):
        door(host="127.0.0.1", port=8017, names=(), tls=False, proxy=True)


@pytest.mark.parametrize("path", ["/", f"/runs/{RUN}", "/api/tonight", "/api/openapi.json"])
def test_from_outside_looking_needs_the_token_too(place: Place, path: str) -> None:
    place.way = OUTSIDE
    client = place.client()
    assert client.get(path).status_code == 401
    assert client.get(path, headers=shown(client)).status_code == 200
    come_in(client)
    assert client.get(path).status_code == 200


def test_on_this_machine_looking_needs_nothing(client: TestClient) -> None:
    assert client.get("/").status_code == 200


def test_the_session_travels_only_where_it_cannot_be_read(place: Place) -> None:
    place.way = OUTSIDE
    client = place.client()
    answer = client.post(
        "/session", data={"name": "Ines", "token": TOKEN}, headers={"origin": origin(client)}
    )
    kept = answer.headers["set-cookie"].lower()
    assert all(word in kept for word in ("httponly", "samesite=strict", "secure", "path=/"))
    assert TOKEN not in kept


# ------------------------------------------------------------------ actions


def test_an_action_needs_the_tokens_session(client: TestClient, place: Place) -> None:
    answer = client.post(RERUN, json={"cells": [QUAY], "by": "Eve"}, headers={"origin": ORIGIN})
    assert answer.status_code == 401
    assert requests(place) == []


def test_a_wrong_token_opens_nothing(client: TestClient) -> None:
    answer = client.post(
        "/session", data={"name": "Eve", "token": TOKEN[:-1]}, headers={"origin": origin(client)}
    )
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_the_token_can_be_tried_only_a_few_times(client: TestClient) -> None:
    tries = [
        client.post(
            "/session", data={"name": "Eve", "token": "guess"}, headers={"origin": origin(client)}
        ).status_code
        for _ in range(7)
    ]
    assert tries == [403] * 5 + [429] * 2
    bearer = client.get("/api/look", headers={"authorization": "Bearer guess"})
    assert bearer.status_code == 429


@pytest.mark.parametrize("host", ["attacker.example", "attacker.example:8017", "127.0.0.1:80", ""])
def test_a_name_that_was_bent_to_this_machine_is_turned_away(client: TestClient, host: str) -> None:
    answer = client.get("/api/tonight", headers={"host": host})
    assert answer.status_code == 421
    assert "wrong-name" in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://attacker.example"},
        {"origin": "null"},
        {"origin": ORIGIN, "sec-fetch-site": "cross-site"},
        {"origin": "http://127.0.0.1:8018"},
        {},
    ],
)
def test_what_another_site_sends_is_turned_away(
    client: TestClient, place: Place, headers: dict[str, str]
) -> None:
    csrf = come_in(client)
    answer = client.post(RERUN, json={"cells": [QUAY], "csrf": csrf}, headers=headers)
    assert answer.status_code == 403
    assert requests(place) == []


@pytest.mark.parametrize("word", ["", "wrong", None])
def test_a_form_without_the_word_of_its_session_is_refused(
    client: TestClient, place: Place, word: str | None
) -> None:
    come_in(client)
    body = {"cells": [QUAY]} | ({} if word is None else {"csrf": word})
    answer = client.post(RERUN, json=body, headers={"origin": origin(client)})
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "forged")
    assert requests(place) == []


def test_what_is_asked_is_kept_with_who_asked(client: TestClient, place: Place) -> None:
    csrf = come_in(client, "Ines Ferreira")
    body = {"cells": [QUAY], "csrf": csrf, "by": "Somebody Else"}
    assert client.post(RERUN, json=body, headers={"origin": origin(client)}).status_code == 200
    program = client.post(RERUN, json={"cells": [QUAY], "by": "Nightly"}, headers=shown(client))
    assert program.status_code == 200
    assert requests(place) == ["Ines Ferreira", "Nightly"]


def test_a_program_that_does_not_say_for_whom_it_asks_is_refused(place: Place) -> None:
    client = place.client()
    answer = client.post(RERUN, json={"cells": [QUAY]}, headers=shown(client))
    assert answer.status_code == 400
    assert requests(place) == []


def test_a_session_is_over_after_a_night(place: Place) -> None:
    client = place.client()
    csrf = come_in(client)
    place.steady_s += SESSION_S + 1
    body = {"cells": [QUAY], "csrf": csrf}
    assert client.post(RERUN, json=body, headers={"origin": origin(client)}).status_code == 401


def test_who_has_left_can_no_longer_act(client: TestClient) -> None:
    csrf = come_in(client)
    old = client.cookies[COOKIE]
    client.post("/session/close", data={"csrf": csrf}, headers={"origin": origin(client)})
    client.cookies.set(COOKIE, old)
    body = {"cells": [QUAY], "csrf": csrf}
    assert client.post(RERUN, json=body, headers={"origin": origin(client)}).status_code == 401


def test_a_visitor_is_never_sent_to_another_place(client: TestClient) -> None:
    for back in ("//attacker.example/", "https://attacker.example", "/\\attacker.example", "x"):
        answer = client.post(
            "/session",
            data={"name": "Ines", "token": TOKEN, "back": back},
            headers={"origin": origin(client)},
        )
        if answer.status_code == 303:
            assert answer.headers["location"] == "/"


# ------------------------------------------------------------------ no plan text, no command


def test_only_the_name_of_a_plan_in_the_folder_can_be_queued(
    client: TestClient, place: Place
) -> None:
    for name in ("../../etc/passwd", "/etc/passwd", "plan: x\ntitles: []", "nicht.yaml", ""):
        answer = client.post("/api/queue", json={"plan": name, "by": "E"}, headers=shown(client))
        assert answer.status_code == 404
    assert place.queued == []
    answer = client.post(
        "/api/queue", json={"plan": "night.yaml", "by": "Ines"}, headers=shown(client)
    )
    assert (answer.status_code, place.queued) == (200, [("night.yaml", "Ines")])


def test_a_value_in_an_address_cannot_become_an_option(place: Place) -> None:
    given: list[list[str]] = []

    def ask(command: str, arguments: object) -> dict[str, object]:
        assert isinstance(arguments, list)
        given.append(arguments)
        return {"schema": "harness.drift/1", "series": [], "apart": [], "not_read": []}

    client = place.client(place.page(ask=ask))
    client.get("/api/drift?where=--store=/etc&figure=--json")
    assert given == [["--store", str(place.store), "--where=--store=/etc", "--figure=--json"]]
    assert client.get("/api/drift?store=/etc").status_code == 400
    assert client.get("/api/drift?rig=a&rig=b").status_code == 400


# ------------------------------------------------------------------ what is shown


PAGES = [
    "/", "/runs", f"/runs/{RUN}", f"/runs/{RUN}/cells/{FAILED}", f"/runs/{RUN}/cells/{FAILED}/1",
    f"/runs/{RUN}/cells/{QUAY}/1", "/compare", "/compare?base=slot%3Dalone&against=slot%3Dshared",
    "/ceilings", "/drift?where=setting%3Dfhd", "/rigs", "/plans", "/session",
    "/compare?base=%3Cscript%3Ealert(1)%3C/script%3E%3Dx&against=a%3Db",
]  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_no_page_holds_a_script_or_a_style_of_its_own(
    place: Place, client: TestClient, path: str
) -> None:
    place.journal_of(STEP)
    come_in(client)
    answer = client.get(path)
    assert answer.status_code == 200
    lower = answer.text.lower()
    scripts = [part.split(">", 1)[0] for part in lower.split("<script")[1:]]
    assert scripts
    assert all(' src="/static/' in each for each in scripts)
    assert "<style" not in lower
    assert " style=" not in lower
    assert " onclick" not in lower
    assert "javascript:" not in lower


def test_what_is_kept_is_shown_and_never_obeyed(place: Place, client: TestClient) -> None:
    place.journal_of(STEP)
    grid = client.get(f"/runs/{RUN}").text
    assert NASTY not in grid
    assert "Basalt &lt;script&gt;alert(&#39;run&#39;)&lt;/script&gt;" in grid
    assert "{{ 7*7 }}" in grid
    assert "What does the second slot cost &lt;b&gt;this&lt;/b&gt; card?" in grid
    assert "Storage card in the &lt;second&gt; slot." in grid
    assert "exited with &lt;status&gt; 3" in client.get(f"/runs/{RUN}/cells/{FAILED}").text


def test_every_answer_tells_the_browser_what_it_may_do(client: TestClient) -> None:
    for path in ("/", "/api/look", "/static/page.js", "/nowhere", "/api/nowhere"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert "access-control-allow-origin" not in headers
    turned_away = client.get("/", headers={"host": "attacker.example"}).headers
    assert turned_away["x-frame-options"] == "DENY"


# ------------------------------------------------------------------ paths, size, rate


@pytest.mark.parametrize(
    "path",
    [
        "/static/..%2fpage.py", "/static/%2e%2e/page.py", "/static/VENDORED.md",
        "/runs/..%2f..%2frecords.sqlite", f"/api/runs/{RUN}/cells/{QUAY}/1/captures/..%2f..",
        f"/api/runs/{RUN}/cells/{QUAY}/1/captures/{'0' * 64}", f"/api/runs/{RUN}/cells/../x/1",
        f"/api/runs/{RUN}/cells/{QUAY}/99/frames", f"/api/runs/{RUN}/cells/{QUAY}/-1",
    ],
)  # fmt: skip
def test_what_is_not_an_id_leads_nowhere(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("told", [True, False])
def test_a_body_that_is_too_large_is_refused(client: TestClient, told: bool) -> None:
    def body() -> object:
        for _ in range(MOST_BODY_BYTES // 1024 + 2):
            yield b"x" * 1024

    content = b"x" * (MOST_BODY_BYTES + 1) if told else body()
    answer = client.post(RERUN, content=content, headers=shown(client))  # type: ignore[arg-type]
    assert answer.status_code == 413


def test_an_address_that_is_too_long_is_refused(client: TestClient) -> None:
    assert client.get("/api/drift?where=" + "a" * 5000).status_code == 414
    assert client.get("/" + "a" * 600).status_code == 414


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS"])
def test_only_what_is_needed_is_taken(client: TestClient, method: str) -> None:
    assert client.request(method, "/api/runs").status_code == 403
    told = client.request(method, "/api/runs", headers=shown(client))
    # RFC 9110, section 15.5.6: such an answer names the methods that there are
    assert (told.status_code, set(told.headers["allow"].split(", "))) == (405, {"GET", "HEAD"})


def test_who_asks_too_often_waits(place: Place) -> None:
    client = place.client()
    answers = [client.get("/static/page.css").status_code for _ in range(300)]
    assert answers.count(429) == 60
    assert client.get("/api/look").headers["retry-after"] == "1"
    place.steady_s += 10
    assert client.get("/api/look").status_code == 200


def test_a_body_that_is_no_object_is_refused_in_words(client: TestClient) -> None:
    for body in (b"[1]", b"{", b"\xff", b"[" * 60_000, b'"x"'):
        headers = {**shown(client), "content-type": "application/json"}
        answer = client.post(RERUN, content=body, headers=headers)
        assert answer.status_code in (400, 429)


def test_the_token_is_kept_for_its_owner_alone(tmp_path: Path) -> None:
    from harness.views.page.visitors import kept_token

    path = tmp_path / "rig" / "page-token"
    token = kept_token(path)
    assert path.stat().st_mode & 0o077 == 0
    assert kept_token(path) == token
    assert Visitors(token).knows(token)
    path.chmod(0o644)
    with pytest.raises(AskedError, match="others on this machine"):
        kept_token(path)
