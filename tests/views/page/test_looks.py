"""What people see."""

from __future__ import annotations

import dataclasses
import html
import re

import pytest
from starlette.testclient import TestClient

from harness.rig.holds import Holds
from harness.rig.tasks import Hold
from harness.run import records as r
from harness.store.sqlite import open_store
from harness.views.safety import FIRST_PASS, OPENED_CASE
from tests.views.page.nights import (
    FAILED,
    KEYS,
    QUAY,
    RUN,
    STEP,
    Place,
    come_in,
    keep_pass,
    pass_in_progress,
)


def test_tonight_shows_the_step_that_waits_with_every_word_of_caution(
    place: Place, client: TestClient
) -> None:
    place.journal_of(STEP)
    text = client.get("/").text
    assert "Step 2 waits for you" in text
    for words in (*OPENED_CASE, *FIRST_PASS):
        assert words.replace("'", "&#39;") in text
    assert "Show the token" in text
    assert 'name="attending"' not in text
    come_in(client)
    assert 'name="attending" value="yes" required' in client.get("/").text


def test_a_step_that_asks_whether_something_is_still_so_demands_nothing_else(
    place: Place, client: TestClient
) -> None:
    closed, asked = STEP
    assert isinstance(asked, r.StepAsked)
    place.journal_of(
        [closed, dataclasses.replace(asked, opens_case=False, still=True, reopens=True)]
    )
    come_in(client)
    text = client.get("/").text
    assert "Only if it is not so: first, and while the case is open" in text
    assert all(html.escape(words, quote=False) in html.unescape(text) for words in OPENED_CASE)
    assert 'name="attending" value="yes">' in text
    assert "It is so, says Ines" in text


def test_tonight_shows_a_hold_with_its_reason_and_what_to_do(
    place: Place, client: TestClient
) -> None:
    Holds(place.rig).hold(
        Hold(
            id="h-1", run="other-1", reason="driver <changed>", do="look", at="2026-11-02T23:00:00"
        )
    )
    text = client.get("/").text
    assert "driver &lt;changed&gt;" in text
    assert "let hot parts cool" in text


def test_tonight_tells_the_pass_and_its_cell(place: Place, client: TestClient) -> None:
    with pass_in_progress(place):
        text = client.get("/").text
    assert "pass, attempt 1: Lantern Quay, loop, fhd, slot shared" in text
    assert "gpu.temperature" in text
    assert "58 °C" in text


def test_what_comes_next_and_the_time_left_are_worked_out_apart(
    place: Place, client: TestClient
) -> None:
    text = client.get(f"/parts/ahead/{RUN}").text
    assert "time left" in text
    assert "about" in text


def test_the_grid_shows_what_is_doubtful_first_and_why(client: TestClient) -> None:
    text = client.get(f"/runs/{RUN}").text
    first = text.index("Look at these first")
    assert first < text.index("3 passes &lt;failed&gt;") < text.index("The grid")
    assert text.index(FAILED) < text.index("The grid")
    assert "57." not in text[first : text.index("The grid")]


@pytest.mark.parametrize(
    ("query", "seen", "hidden"),
    [("state=failed", FAILED, QUAY), ("text=quay alone", QUAY, FAILED), ("state=open", "", QUAY)],
)
def test_the_grid_can_be_narrowed_down(
    client: TestClient, query: str, seen: str, hidden: str
) -> None:
    part = client.get(f"/runs/{RUN}?{query}", headers={"hx-request": "true"}).text
    grid = part[part.index("The grid") :]
    assert "<html" not in part
    assert seen in grid
    assert hidden not in grid


def test_a_cell_shows_its_passes_and_its_story(client: TestClient) -> None:
    text = client.get(f"/runs/{RUN}/cells/{QUAY}").text
    assert "all checks passed" in text
    assert "accepted (2 passes kept; attempts 1, 2 count)" in text
    assert f"/runs/{RUN}/cells/{QUAY}/2" in text


def test_a_pass_shows_its_figures_with_their_definition(client: TestClient) -> None:
    text = client.get(f"/runs/{RUN}/cells/{QUAY}/1").text
    assert "frames-over-time/1" in text
    assert "2 of 3" in text
    assert "the harness itself used 0.10 % of the pass" in text
    assert "the harness cost 0.002 % of this pass (at most 0.005 %)" in text


def test_a_comparison_stands_in_its_address(client: TestClient) -> None:
    text = client.get("/compare?base=slot%3Dalone&against=slot%3Dshared").text
    assert 'value="slot=alone"' in text
    nothing = client.get("/compare?base=slot%3Dnone&against=slot%3Dshared").text
    assert 'role="alert"' in nothing


def test_without_a_store_the_page_says_so(tmp_path: object, place: Place) -> None:
    empty = Place(place.folder / "empty")
    text = empty.client().get("/").text
    assert "The store has no run yet" in text


def test_what_does_not_exist_is_told_as_a_page(client: TestClient) -> None:
    answer = client.get("/nowhere")
    assert (answer.status_code, "<html" in answer.text) == (404, True)


def test_every_page_has_its_landmarks_and_one_heading(place: Place, client: TestClient) -> None:
    place.journal_of(STEP)
    for path in ("/", "/runs", f"/runs/{RUN}", f"/runs/{RUN}/cells/{QUAY}", "/compare", "/plans"):
        text = client.get(path).text
        assert text.count("<h1") == text.count("<main") == text.count("<nav") == 1
        assert 'lang="en"' in text
        assert "To the content" in text


def test_whether_marked_passes_are_compared_is_seen_and_stays_chosen(client: TestClient) -> None:
    box = 'name="with-marked" value="yes"'
    assert f"{box} checked" in client.get("/compare?with-marked=yes").text
    assert f"{box}>" in client.get("/compare").text


def test_why_a_pass_was_discarded_is_told_once_beside_it(place: Place, client: TestClient) -> None:
    out = r.PassDiscarded(
        cell=QUAY, attempt=1, rule="spread/1", on="average_fps", statistic=0.2, critical=0.1,
        passes=3, discarded=True, reason="20 % from the others",
    )  # fmt: skip
    place.journal_of([out])
    table = client.get(f"/runs/{RUN}/cells/{QUAY}").text.split("The story")[0]
    assert table.count("20 % from the others") == 1


def test_every_value_of_a_key_stands_in_its_form_and_one_field_more(client: TestClient) -> None:
    two = "base=slot%3Dalone&base=setting%3Dfhd&against=slot%3Dshared"
    form = client.get(f"/compare?{two}").text.partition("</form>")[0]
    fields = re.findall(r'name="base"[^>]* value="([^"]*)"', form)
    assert fields == ["slot=alone", "setting=fhd", ""]


def test_that_nights_are_values_is_seen_and_stays_chosen(client: TestClient) -> None:
    box = 'name="unit" value="night"'
    assert f"{box} checked" in client.get("/compare?unit=night").text
    assert f"{box}>" in client.get("/compare").text


def test_a_comparison_says_what_its_columns_and_words_mean(
    place: Place, client: TestClient
) -> None:
    with open_store(place.store, write=True) as store:
        for attempt in (1, 2):
            cell = KEYS["Lantern Quay", "shared"]
            keep_pass(store.journal(RUN), place.folder, attempt, cell=cell)
    query = "base=slot%3Dalone&against=slot%3Dshared"
    legend = client.get(f"/api/compare?{query}").json()["legend"]
    page = html.unescape(client.get(f"/compare?{query}").text)
    assert legend
    assert all(line in page for line in legend)


def test_one_night_a_side_has_no_interval_over_all_titles_and_the_page_says_so(
    place: Place, client: TestClient
) -> None:
    with open_store(place.store, write=True) as store:
        for cell in KEYS.values():
            for attempt in (11, 12):
                keep_pass(store.journal(RUN), place.folder, attempt, cell=cell)
    query = "base=slot%3Dalone&against=slot%3Dshared&unit=night"
    overall = client.get(f"/api/compare?{query}").json()["overall"]
    assert (overall["titles"], overall["low"], overall["like_these"]["low"]) == (2, None, None)
    head = client.get(f"/compare?{query}").text.partition('id="overall-heading"')[2]
    head = head.partition("</section>")[0]
    assert "no interval for these titles: not every row has one" in head
    assert "no interval for titles like these" in head
    assert "not measured" not in head


def test_a_dead_run_is_shown_as_interrupted_and_no_cell_of_it_as_running(
    place: Place, client: TestClient
) -> None:
    with pass_in_progress(place):
        assert "interrupted, pass" not in client.get("/runs").text
        assert re.search(r'value="running"', client.get(f"/runs/{RUN}").text)
    for path in ("/", "/runs", f"/runs/{RUN}"):
        assert "interrupted, pass" in client.get(path).text
    assert 'value="running"' not in client.get(f"/runs/{RUN}").text
