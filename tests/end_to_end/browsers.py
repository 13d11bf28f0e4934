"""A page process and a browser in front of it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

ROOT = Path(__file__).resolve().parents[2]
AXE = Path(__file__).with_name("axe") / "axe.min.js"
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="there is no chromium here (Debian: apt-get install chromium)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """A page that answers: its address, which ends in ``/``, and its token."""

    address: str
    token: str
    pid: int


@contextmanager
def page_process(
    environment: Mapping[str, str], *, folder: Path, options: Sequence[str] = ()
) -> Iterator[Served]:
    """Run ``harness page`` until the block ends; a signal then ends it in order."""
    process = subprocess.Popen(
        [sys.executable, "-m", "harness", "page", "--port", "0", "--json", *options],
        cwd=folder,
        env={**os.environ, **environment, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        said = json.loads(process.stdout.readline())
        yield Served(address=said["address"], token=said["token"], pid=said["pid"])
    finally:
        process.terminate()
        try:
            process.communicate(timeout=20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()


@contextmanager
def browser() -> Iterator[Any]:
    """Start Chromium."""
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield started
        finally:
            started.close()


@contextmanager
def opened(started: Any, served: Served, **context: Any) -> Iterator[Any]:
    """Open a tab; whatever a page says against itself on the console fails the test."""
    window = started.new_context(base_url=served.address, **context)
    tab = window.new_page()
    said: list[str] = []
    tab.on("console", lambda message: said.append(message.text) if message.type == "error" else 0)
    tab.on("pageerror", lambda error: said.append(str(error)))
    try:
        yield tab
    finally:
        window.close()
    assert said == []


def come_in(tab: Any, served: Served, name: str = "Ines") -> None:
    """Show the token as a person does."""
    tab.goto("/session")
    tab.get_by_label("Your name").fill(name)
    tab.get_by_label("Token").fill(served.token)
    tab.get_by_role("button", name="Come in").click()


def against_axe(tab: Any) -> list[str]:
    """Return what axe-core finds serious or critical on the page that is open."""
    tab.add_script_tag(path=str(AXE))
    found = tab.evaluate("async () => (await axe.run()).violations")
    return [
        f"{each['id']}: {node['html'][:120]} {node['any'][0]['message'] if node['any'] else ''}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"][:3]
    ]
