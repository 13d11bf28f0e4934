"""`harness page` as a person gives it."""

from __future__ import annotations

import io
import json
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path
from urllib.request import urlopen

import pytest

from harness.__main__ import main
from harness.commands.page import asked, on_queue, queued
from harness.errors import AskedError
from harness.views.page.actions import PlanFile

ROOT = Path(__file__).resolve().parents[2]


def told(*arguments: str, rig: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[int, str]:
    monkeypatch.setenv("HARNESS_RIG", str(rig))
    err = io.StringIO()
    return main(["page", "--port", "0", *arguments], out=io.StringIO(), err=err), err.getvalue()


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["--host", "0.0.0.0"], "page-in-the-clear"),
        (["--host", "0.0.0.0", "--behind-proxy"], "page-without-name"),
        (["--tls-key", "rig.key"], "half-of-tls"),
        (["--host", "192.0.2.7"], "no-address"),  # RFC 5737: no machine has it
    ],
)
def test_what_cannot_be_served_is_refused_in_words(
    arguments: list[str], code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    status, err = told(*arguments, rig=tmp_path, monkeypatch=monkeypatch)
    assert (status, f"error[{code}]" in err) == (2, True), err


def test_a_port_that_is_taken_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        status, err = told("--port", str(port), rig=tmp_path, monkeypatch=monkeypatch)
    assert (status, f"port {port}" in err) == (2, True)


def test_a_token_that_others_may_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "token"
    file.write_text("a-token-of-more-than-twenty\n", encoding="ascii")
    file.chmod(0o644)
    status, err = told("--token-file", str(file), rig=tmp_path, monkeypatch=monkeypatch)
    assert (status, "error[token-open]" in err) == (2, True)


def test_a_bad_argument_from_an_address_is_an_error_and_ends_nothing() -> None:
    with pytest.raises(AskedError):
        asked("compare", ["--correction=mine"])


NIGHT = """\
plan: two slots
settings: {fhd: {size: 1920x1080}}
titles:
  - {title: Lantern Quay, scene: loop, settings: [fhd], command: [quay], time_limit: 20 s,
     figures: {export: {from: wall_time, better: lower}}}
passes: {keep: 2, at_most: 3}
limits: [{reading: gpu.temperature, at_most: 90 °C}]
night: {start: "22:30", end: "07:00", days: mon-fri, zone: Europe/Lisbon}
"""


def test_a_plan_of_the_folder_comes_on_the_rigs_queue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(tmp_path / "rig"))
    (tmp_path / "night.yaml").write_text(NIGHT, encoding="utf-8")
    said = queued(tmp_path, tmp_path / "store", PlanFile(name="night.yaml"), "Ines")
    assert said.startswith("night.yaml is on the queue as number 1; next start 20")
    [kept] = on_queue(tmp_path / "rig", tmp_path / "store")
    assert (kept.entry, kept.plan, kept.by, kept.start, kept.last) == (
        *(1, "night.yaml", "Ines"),
        *("", ""),
    )
    assert not kept.elsewhere
    [other] = on_queue(tmp_path / "rig", tmp_path / "another")
    assert other.elsewhere
    with pytest.raises(AskedError, match="on the queue already"):
        queued(tmp_path, tmp_path / "store", PlanFile(name="night.yaml"), "Ines")


def test_a_plan_whose_night_is_open_starts_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(tmp_path / "rig"))
    always = '{start: "12:00", end: "11:59", zone: UTC}\n'
    plan = NIGHT[: NIGHT.index("{start:")] + always
    for name in ("first.yaml", "second.yaml"):
        (tmp_path / name).write_text(plan, encoding="utf-8")
    first, second = (
        queued(tmp_path, tmp_path / "store", PlanFile(name=name), "Ines")
        for name in ("first.yaml", "second.yaml")
    )
    idle = "; no daemon watches this rig: harness daemon"
    assert first == f"first.yaml is on the queue as number 1; next start now{idle}"
    waits = f"{tmp_path}/first.yaml comes first"
    assert second == (
        "second.yaml is on the queue as number 2; next start as soon as that is over: "
        f"{waits}{idle}"
    )


@pytest.mark.slow
def test_the_page_answers_and_a_signal_ends_it_in_order(tmp_path: Path) -> None:
    environment = {
        **os.environ, "HARNESS_RIG": str(tmp_path / "rig"), "HARNESS_STORE": str(tmp_path / "s"),
        "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    with subprocess.Popen(
        [sys.executable, "-m", "harness", "page", "--port", "0", "--json"],
        env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        said = json.loads(process.stdout.readline())
        assert set(said) == {"schema", "address", "token", "pid"}
        with urlopen(f"{said['address']}api/look", timeout=10) as answer:
            assert json.load(answer)["pass_in_progress"] is None
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=20)
    assert err == ""
    assert process.returncode in (0, -signal.SIGTERM)
