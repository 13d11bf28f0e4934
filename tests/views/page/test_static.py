"""Files of others are what was published; what the page weighs."""

from __future__ import annotations

import gzip
import hashlib
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from harness.views.page.page import HERE
from tests.views.page.nights import QUAY, RUN

AXE = Path(__file__).parents[2] / "end_to_end" / "axe"
FOLDERS = [HERE / "static", AXE]


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_every_vendored_file_is_the_one_that_was_published(folder: Path) -> None:
    listed = re.findall(
        r"^\| `([^`]+)` .*`([0-9a-f]{64})` \|$",
        (folder / "VENDORED.md").read_text(encoding="utf-8"),
        flags=re.MULTILINE,
    )
    assert listed
    for name, sha256 in listed:
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == sha256


def test_the_heaviest_page_weighs_sixty_kilobytes_at_most(client: TestClient) -> None:
    """Figure 12: 60 kB, the frames aside; text as it travels, scripts and styles packed."""
    text = client.get(f"/runs/{RUN}/cells/{QUAY}/1").text
    parts = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', text))
    weight = len(text.encode())
    for part in parts:
        with client.stream("GET", part, headers={"accept-encoding": "gzip"}) as answer:
            raw = b"".join(answer.iter_raw())
        assert gzip.decompress(raw)
        weight += len(raw)
    assert len(parts) == 7
    assert weight <= 60_000, weight


def test_a_file_that_is_at_hand_is_not_sent_again(client: TestClient) -> None:
    first = client.get("/static/page.js?v=1")
    assert "max-age=31536000" in first.headers["cache-control"]
    again = client.get("/static/page.js?v=1", headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_no_page_asks_anything_of_another_place() -> None:
    for path in [*(HERE / "templates").rglob("*.html"), *(HERE / "static").glob("page.*")]:
        assert not re.search(r"(src|href|url)\W+https?:", path.read_text(encoding="utf-8"))
