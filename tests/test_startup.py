"""What a command does not import: the light ones start quickly, on a rig and on a desk.

Each command runs in an interpreter of its own, which then names every module it holds.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from harness.store.sqlite import open_store

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "plans" / "demo.yaml"

#: Takes long to import, or wakes up by itself: never on the way of these commands.
HEAVY = {
    "aiohttp",
    "apscheduler",
    "fastapi",
    "flask",
    "numpy",
    "pandas",
    "pyarrow",
    "scipy",
    "starlette",
    "structlog",
    "tornado",
    "uvicorn",
}

#: What ``status`` does without besides: each costs more than reading the store does.
NOT_FOR_STATUS = {
    "dataclasses",
    "harness.plan",
    "harness.run",
    "hashlib",
    "inspect",
    "json",
    "shutil",
    "typing",
}

#: What ``check`` does without: these define dataclasses, which takes as long as the check.
NOT_FOR_CHECK = {
    "harness.plan.document",
    "harness.rig.fingerprint",
    "harness.rig.readings",
    "harness.rules.discard",
    "harness.rules.judgement",
}

#: Imports nothing itself but what every interpreter holds.
_ASK = """
import io, sys
from harness.__main__ import main
status = main(sys.argv[1:], out=io.StringIO(), err=sys.stderr)
print(status, *sys.modules)
"""


def modules_of(*command: str, rig: Path) -> set[str]:
    """Return the names of all modules that *command* imported, and of their packages."""
    done = subprocess.run(
        [sys.executable, "-c", _ASK, *command],
        capture_output=True,
        check=True,
        encoding="utf-8",
        env=os.environ
        | {
            "PYTHONPATH": str(ROOT),
            "HARNESS_RIG": str(rig),
            "HARNESS_STORE": str(rig.with_name("no-store")),  # whoever runs this may have one
        },
    )
    status, *modules = done.stdout.split()
    assert status == "0", done.stderr
    return set(modules)


def a_capture(folder: Path) -> list[str]:
    file = folder / "frames.csv"
    rows = "".join(f"{6.9 + (n % 7) / 100:.2f}\n" for n in range(2_000))
    file.write_text("frame_ms\n" + rows, encoding="ascii")
    return ["figures", str(file), "--column", "frame_ms", "--unit", "ms"]


def a_store(folder: Path) -> list[str]:
    with open_store(folder / "store", write=True) as store:
        at = datetime(2026, 11, 2, 22, 30, tzinfo=UTC)
        store.create_run("night", plan_name="b", plan_hash="9f", rig="rig", cells=4, at=at)
    return ["status", "--store", str(folder / "store")]


COMMANDS: dict[str, Callable[[Path], list[str]]] = {
    "--help": lambda folder: ["--help"],
    "--version": lambda folder: ["--version"],
    "check": lambda folder: ["check", str(DEMO)],
    "figures": a_capture,
    "queue": lambda folder: ["queue"],
    "service": lambda folder: ["service", "install"],
    "status": a_store,
}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_light_command_imports_nothing_heavy(name: str, tmp_path: Path) -> None:
    found = modules_of(*COMMANDS[name](tmp_path), rig=tmp_path / "rig")

    assert {module.partition(".")[0] for module in found} & HEAVY == set()


def test_the_names_of_what_is_heavy_are_those_that_would_be_seen(tmp_path: Path) -> None:
    code = "import sys, numpy; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8"
    )

    assert HEAVY & set(done.stdout.split()) == {"numpy"}


def test_status_imports_little_more_than_what_reads_the_store(tmp_path: Path) -> None:
    command = a_store(tmp_path)

    assert modules_of(*command, rig=tmp_path / "rig") & NOT_FOR_STATUS == set()


def test_a_check_takes_its_names_from_the_tables_alone(tmp_path: Path) -> None:
    found = modules_of("check", str(DEMO), rig=tmp_path / "rig")

    assert {"harness.rig.quantities", "harness.rules.kinds"} <= found
    assert found & NOT_FOR_CHECK == set()


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_help_and_version_import_no_parser(option: str, tmp_path: Path) -> None:
    found = modules_of(option, rig=tmp_path / "rig")

    assert found & {"argparse", "dataclasses", "enum", "harness.errors", "json", "typing"} == set()
