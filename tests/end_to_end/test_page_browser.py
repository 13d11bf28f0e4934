"""The page in a real browser: watched, acted on, zoomed, by keyboard, in both schemes.

``HARNESS_PICTURES=FOLDER`` keeps a picture of every view there.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from harness.rig.holds import Holds
from harness.rig.tasks import Hold
from harness.rules.judgement import Verdict
from harness.run import records as r
from harness.store.sqlite import open_store
from tests.commands.test_page import NIGHT
from tests.end_to_end.browsers import (
    Served,
    against_axe,
    browser,
    come_in,
    needs_chromium,
    opened,
    page_process,
    sync_api,
)
from tests.end_to_end.runs import Place as Bench
from tests.end_to_end.test_door import STEPS
from tests.views.page.nights import AT, FAILED, KEYS, QUAY, RUN, STEP, Place, keep_pass, made

pytestmark = [pytest.mark.slow, needs_chromium]

PICTURES = os.environ.get("HARNESS_PICTURES")
LONG_MS = [7.0 + (n * 37 % 101) / 50 + (9.0 if n % 6007 == 0 else 0.0) for n in range(100_000)]
LATEST = 60_000  # ms a browser waits for what a night brings about
VIEWS = {
    "tonight": "/",
    "runs": "/runs",
    "grid": f"/runs/{RUN}",
    "cell": f"/runs/{RUN}/cells/{QUAY}",
    "pass": f"/runs/{RUN}/cells/{QUAY}/1",
    "compare": "/compare?base=slot%3Dalone&against=slot%3Dshared",
    "ceilings": "/ceilings",
    "drift": "/drift?where=slot%3Dalone",
    "rigs": "/rigs",
    "plans": "/plans",
    "token": "/session",
}


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as started:
        yield started


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A night that waits for a person, on a rig that is held; one pass has 100 000 frames."""
    place = made(tmp_path_factory.mktemp("kept"))
    with open_store(place.store, write=True) as store:
        journal = store.journal(RUN)
        reopened = r.CellReopened(cell=QUAY, superseded=(1, 2), by="Ana", reason="cold room")
        journal.append((reopened,), at=AT, boot="0b6f1c9a")
        for attempt in (3, 4):
            frames = LONG_MS if attempt == 3 else LONG_MS[:2000]
            keep_pass(journal, place.folder, attempt, frames_ms=frames)
        for attempt in (1, 2):  # what it is compared with
            shared, frames = KEYS["Lantern Quay", "shared"], LONG_MS[: 2000 * attempt]
            keep_pass(journal, place.folder, attempt, frames_ms=frames, cell=shared)
        closed = r.CellClosed(
            cell=QUAY, state=r.CellState.ACCEPTED, group=1, kept=(3, 4), reason="2 passes kept"
        )
        journal.append((closed, *STEP), at=AT, boot="0b6f1c9a")
    Holds(place.rig).hold(
        Hold(
            id="other-1.hold-1", run="other-1", at="2026-11-02T23:00:00+00:00",
            reason="gpu.temperature was 93 °C and may be 92 °C at the most",
            do="look at the card's fans and the air paths",
        )
    )  # fmt: skip
    return place


@pytest.fixture(scope="module")
def served(kept: Place) -> Iterator[Served]:
    environment = {"HARNESS_STORE": str(kept.store), "HARNESS_RIG": str(kept.rig)}
    (kept.folder / "plans").mkdir()
    (kept.folder / "plans" / "two-slots.yaml").touch()
    with page_process(environment, folder=kept.folder) as found:
        yield found


def visit(tab: Any, name: str) -> None:
    tab.goto(VIEWS[name])
    tab.wait_for_load_state("networkidle")
    if name == "pass":
        tab.wait_for_selector("#trace[data-ready=yes]")


# ------------------------------------------------------------------ how it looks


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 3840])
def test_every_view_fits_from_a_phone_to_a_wall(
    chromium: Any, served: Served, scheme: str, width: int
) -> None:
    size = {"width": width, "height": 800 if width < 1000 else 2160}
    with opened(chromium, served, color_scheme=scheme, viewport=size) as tab:
        come_in(tab, served)
        papers = set()
        for name in VIEWS:
            visit(tab, name)
            wide = tab.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, f"{name} is {wide} px wide"
            papers.add(tab.evaluate("getComputedStyle(document.body).backgroundColor"))
        assert papers == {"rgb(246, 244, 238)" if scheme == "light" else "rgb(20, 24, 28)"}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(chromium: Any, served: Served, scheme: str) -> None:
    """axe-core 4.14.1 with all of its rules; contrast among them."""
    size = {"width": 1100, "height": 780}
    with opened(chromium, served, color_scheme=scheme, bypass_csp=True, viewport=size) as tab:
        come_in(tab, served)
        found = {}
        for name in VIEWS:
            visit(tab, name)
            if PICTURES and scheme == "light":
                tab.screenshot(path=Path(PICTURES) / f"{name}.png")
            if told := against_axe(tab):
                found[name] = told
        assert found == {}


def test_on_paper_no_control_is_left(chromium: Any, served: Served) -> None:
    with opened(chromium, served) as tab:
        visit(tab, "grid")
        tab.emulate_media(media="print")
        assert not tab.locator("nav").is_visible()
        assert not tab.locator(".filter").is_visible()
        assert tab.locator("table.grid").is_visible()


# ------------------------------------------------------------------ by keyboard


def test_everything_can_be_done_by_keyboard_alone(
    chromium: Any, served: Served, kept: Place
) -> None:
    with opened(chromium, served) as tab:
        tab.goto("/session")
        tab.keyboard.press("Tab")
        assert tab.evaluate("document.activeElement.textContent") == "To the content"
        tab.keyboard.press("Enter")
        tab.keyboard.press("Tab")
        tab.keyboard.type("Bea")
        tab.keyboard.press("Tab")
        tab.keyboard.type(served.token)
        tab.keyboard.press("Enter")
        tab.wait_for_url("**/")
        tab.goto(f"/runs/{RUN}/cells/{FAILED}")
        button = tab.get_by_role("button", name="Measure this cell again")
        for _ in range(60):
            tab.keyboard.press("Tab")
            if button.evaluate("each => each === document.activeElement"):
                break
        tab.keyboard.press("Enter")
        tab.get_by_text("asked by Bea").wait_for()
    with open_store(kept.store, write=False) as store:
        assert [(each.by, each.cells) for each in store.requests(RUN)] == [("Bea", (FAILED,))]


def test_the_grid_is_narrowed_down_while_typing(chromium: Any, served: Served) -> None:
    with opened(chromium, served) as tab:
        visit(tab, "grid")
        assert tab.locator("a.square").count() == 4
        tab.get_by_label("Find").press_sequentially("quay shared")
        sync_api.expect(tab.locator("a.square")).to_have_count(1)
        shared = KEYS["Lantern Quay", "shared"]
        assert shared in str(tab.locator("a.square").get_attribute("href"))


# ------------------------------------------------------------------ a trace


def test_a_trace_of_a_hundred_thousand_frames_is_zoomed(chromium: Any, served: Served) -> None:
    with opened(chromium, served, viewport={"width": 1280, "height": 900}) as tab:
        tab.goto(f"/runs/{RUN}/cells/{QUAY}/3")
        tab.wait_for_selector("#trace[data-ready=yes]")
        trace = tab.locator("#trace")

        def shown() -> tuple[float, float]:
            low, high = str(trace.get_attribute("data-shown")).split(",")
            return float(low), float(high)

        whole_s = sum(round(each, 4) for each in LONG_MS) / 1000
        assert shown()[0] == 0.0
        assert shown()[1] == pytest.approx(whole_s, rel=1e-6)
        tab.get_by_role("button", name="Zoom in").click()
        assert shown() == pytest.approx((whole_s / 4, whole_s * 3 / 4), rel=1e-6)
        trace.focus()
        tab.keyboard.press("+")
        tab.keyboard.press("ArrowRight")
        low, high = shown()
        assert high - low == pytest.approx(whole_s / 4, rel=1e-6)
        assert low == pytest.approx(whole_s * (3 / 8 + 1 / 16), rel=1e-6)
        box = tab.locator("#charts .u-over").first.bounding_box()
        tab.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + 50)
        tab.mouse.down()
        tab.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60, steps=5)
        tab.mouse.up()
        assert shown()[1] - shown()[0] == pytest.approx(whole_s / 16, rel=0.02)
        tab.keyboard.press("0")
        assert shown()[0] == 0.0
        titles = tab.locator("#charts h3").all_text_contents()
        assert titles == ["Frame time", "Temperature", "Link"]
        assert re.search(r"does not say when", tab.locator("#aligned").inner_text())


# ------------------------------------------------------------------ a night


def test_a_night_is_watched_live_and_its_steps_are_confirmed(chromium: Any, tmp_path: Path) -> None:
    with Bench(tmp_path) as bench:
        text = (bench.folder / "plan.yaml").read_text(encoding="utf-8")
        start, end = text.index("conditions:"), text.index("settings:")
        plan = text[:start] + STEPS + text[end:].replace('"{mode}"', '"{slot}"')
        (bench.folder / "plan.yaml").write_text(plan, encoding="utf-8")
        with (
            page_process(bench.environment(), folder=bench.folder) as found,
            opened(chromium, found) as tab,
        ):
            come_in(tab, found, "Ana")
            tab.get_by_text("The store has no run yet").wait_for()
            runner = bench.start("run", "plan.yaml")
            for step in (1, 2):
                tab.get_by_text(f"Step {step} waits for you").wait_for(timeout=LATEST)
                assert tab.get_by_text("Discharge yourself before you touch a part").is_visible()
                tab.get_by_label("I stay with the rig").check()
                tab.get_by_role("button", name="The step is done, says Ana").click()
            tab.get_by_text("Every run is finished.").wait_for(timeout=LATEST)
            out, err = runner.communicate(timeout=30)
            assert runner.returncode == 0, out + err
        confirmed = [x.record for x in bench.entries() if isinstance(x.record, r.StepConfirmed)]
        assert [(each.by, each.attending) for each in confirmed] == [("Ana", True)] * 2


def test_a_failed_cell_is_measured_again_from_its_button(chromium: Any, tmp_path: Path) -> None:
    with Bench(tmp_path) as bench:
        text = (bench.folder / "plan.yaml").read_text(encoding="utf-8")
        broken = text.replace(', "40", ', ', "nothing", ')
        assert broken != text
        (bench.folder / "plan.yaml").write_text(broken, encoding="utf-8")
        status, out, err = bench.harness("run", "plan.yaml")
        assert status == 1, out + err
        with (
            page_process(bench.environment(), folder=bench.folder) as found,
            opened(chromium, found) as tab,
        ):
            come_in(tab, found, "Ana")
            tab.get_by_role("link", name="small hours").first.click()
            tab.locator("a.square.failed").first.click()
            tab.get_by_label("Why").fill("the save game was missing")
            tab.get_by_role("button", name="Measure this cell again").click()
            tab.get_by_text("kept; no runner is at work").wait_for()
        bench.harness("run", "plan.yaml")
        [again] = [x.record for x in bench.entries() if isinstance(x.record, r.CellReopened)]
        assert (again.by, again.reason) == ("Ana", "the save game was missing")


def test_a_hold_is_released_and_a_plan_queued_from_their_buttons(
    chromium: Any, tmp_path: Path
) -> None:
    place = made(tmp_path)
    held = Hold(
        id="h-1", run="", at="2026-11-02T23:00:00+00:00", reason="hot", do="clean the filter"
    )
    Holds(place.rig).hold(held)
    (tmp_path / "plans").mkdir()
    (tmp_path / "plans" / "night.yaml").write_text(NIGHT, encoding="utf-8")
    environment = {"HARNESS_STORE": str(place.store), "HARNESS_RIG": str(place.rig)}
    with page_process(environment, folder=tmp_path) as found, opened(chromium, found) as tab:
        come_in(tab, found, "Ana")
        tab.get_by_label("What was done").fill("the filter was cleaned")
        tab.get_by_role("button", name="The rig has been put right, says Ana").click()
        tab.get_by_text("released; the rig is free").wait_for()
        tab.get_by_role("link", name="Plans").click()
        tab.get_by_role("button", name="Queue night.yaml").click()
        tab.get_by_text("night.yaml is on the queue as number 1").wait_for()
        tab.get_by_role("region", name="On the queue").get_by_text("Ana").wait_for()
    assert [(x.by, x.note) for x in Holds(place.rig).releases()] == [
        ("Ana", "the filter was cleaned")
    ]


def test_a_run_is_stopped_between_passes_from_its_button(chromium: Any, tmp_path: Path) -> None:
    with Bench(tmp_path) as bench:
        path = bench.folder / "plan.yaml"
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace('"40"', '"400"'), encoding="utf-8")  # a pass of two seconds
        runner = bench.start("run", "plan.yaml")
        # Not in a tab that minds what a browser says: what takes work waits for the end of the
        # pass, with status 503, and a browser writes that down.
        with (
            page_process(bench.environment(), folder=bench.folder) as found,
            chromium.new_page(base_url=found.address) as tab,
        ):
            come_in(tab, found, "Ana")
            tab.get_by_role("button", name="Stop after this pass").click(timeout=LATEST)
            tab.get_by_text("asked by Ana").wait_for()
            out, err = runner.communicate(timeout=60)
        assert "Stopped. Everything measured so far is kept." in out + err, out + err
        last = [x.record for x in bench.entries() if isinstance(x.record, r.RunPaused)][-1]
        assert "Ana" in last.reason
        judged = [x.record for x in bench.entries() if isinstance(x.record, r.PassJudged)]
        assert Verdict.INTERRUPTED not in [each.verdict for each in judged]
