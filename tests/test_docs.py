"""What the documents say is so: their plans pass the checker, their commands and files exist."""

from __future__ import annotations

import doctest
import importlib
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from harness.__main__ import COMMANDS, main
from harness.errors import Exit
from tests.plan.test_schema import as_core
from tests.plan.words import source_of

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CHANGELOG = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS, "CHANGELOG.md": CHANGELOG}


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)


PLANS = {path.name: path.read_text(encoding="utf-8") for path in sorted(ROOT.glob("plans/*.yaml"))}
SHOWN_PLANS = {
    f"README.md, block {number}": block
    for number, block in enumerate(blocks(README, "yaml"), start=1)
    if block.startswith("plan:")
}
FIRST = next(iter(SHOWN_PLANS.values()))


def asked(*arguments: str) -> tuple[int, str]:
    out = io.StringIO()
    return main(arguments, out=out, err=out), out.getvalue()


def test_there_are_plans_to_check() -> None:
    assert PLANS
    assert SHOWN_PLANS


@pytest.mark.parametrize("name", PLANS | SHOWN_PLANS)
def test_a_plan_that_we_show_passes_the_checker_without_a_warning(
    name: str, tmp_path: Path
) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text((PLANS | SHOWN_PLANS)[name], encoding="utf-8")

    status, output = asked("check", str(plan), "--json")

    assert (status, json.loads(output)["problems"]) == (Exit.WELL, [])


def test_the_schema_beside_the_plans_is_the_one_that_the_checker_prints() -> None:
    _, output = asked("check", "--schema")

    # Made by: harness check --schema > plans/plan.schema.json
    assert (ROOT / "plans" / "plan.schema.json").read_text(encoding="utf-8") == output


@pytest.mark.parametrize("name", PLANS)
def test_a_plan_names_the_schema_to_editors_in_its_first_line(name: str) -> None:
    first = PLANS[name].splitlines()[0]

    assert first == "# yaml-language-server: $schema=plan.schema.json"


@pytest.mark.parametrize("name", PLANS | SHOWN_PLANS)
def test_a_plan_that_we_show_fits_the_schema(name: str) -> None:
    schema = json.loads((ROOT / "plans" / "plan.schema.json").read_text(encoding="utf-8"))
    root = source_of((PLANS | SHOWN_PLANS)[name].encode(), name).root
    assert root is not None

    # As an editor takes it that follows YAML 1.2: older ones read the key `on` as a truth value.
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(as_core(root))) == []


def test_the_demo_is_two_titles_at_two_settings_under_two_levels() -> None:
    _, output = asked("check", str(ROOT / "plans" / "demo.yaml"), "--json")

    shown = json.loads(output)
    assert (shown["cells"], shown["passes"], shown["person_steps"]) == (8, 24, 0)


def test_how_frames_are_declared_is_shown_as_the_demo_declares_them() -> None:
    [fragment] = [block for block in blocks(README, "yaml") if block.startswith("frames:")]

    assert fragment.removeprefix("frames: ").strip() in PLANS["demo.yaml"]


@pytest.mark.slow
def test_the_first_plan_runs_to_its_end_as_it_is_shown(tmp_path: Path) -> None:
    # Less data and no gates: what is tried is the plan, not this machine's patience.
    short = re.sub(r"^gates:.*\n(?:  .*\n)+", "", FIRST, flags=re.MULTILINE)
    short = short.replace('"6000000"', '"60000"')
    (tmp_path / "first.yaml").write_text(short, encoding="utf-8")
    lines = [line for line in "".join(blocks(README, "sh")).splitlines() if "first" in line]
    assert [line.split()[1] for line in lines] == ["check", "run", "status", "results", "trace"]

    shown = {}
    for line in lines:
        door, *arguments = line.split()
        assert door == ".venv/bin/harness"
        done = subprocess.run(
            [sys.executable, "-m", "harness", *arguments],
            cwd=tmp_path,
            capture_output=True,
            check=False,
            encoding="utf-8",
            env={"HARNESS_RIG": str(tmp_path / "rig"), "PYTHONPATH": str(ROOT)},
        )
        assert (done.returncode, done.stderr) == (0, "")
        shown[arguments[0]] = done.stdout

    assert "2 accepted" in shown["status"]
    assert "Copper Fen, packing, large, effort 1" in shown["results"]
    assert len(shown["trace"].splitlines()) == 2


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_link_inside_the_project_leads_to_a_file(document: str) -> None:
    links = re.findall(r"\]\(([^)#]+)\)", DOCUMENTS[document])

    missing = [link for link in links if "://" not in link and not (ROOT / link).exists()]

    assert missing == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_script_that_is_named_exists(document: str) -> None:
    named = re.findall(r"python3? (scripts/[\w./]+)", DOCUMENTS[document])

    assert [name for name in named if not (ROOT / name).exists()] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_that_is_named_exists(document: str) -> None:
    named = re.findall(r"(?:\bin/|`)harness ([a-z]+)", DOCUMENTS[document])

    assert set(named) - set(COMMANDS) == set()


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        asked(command, "--help")

    assert left.value.code == 0
    assert capsys.readouterr().out.startswith(f"usage: harness {command}")


def test_the_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    first, second = blocks(README, "sh")[:2]

    assert (first, second) == ("python3 scripts/demo.py\n", "python3 scripts/test.py\n")


def test_whoever_opens_a_rig_or_leaves_it_alone_is_warned() -> None:
    # The cautions that stand with every such step; common practice, no source.
    for words in (
        "switch off and unplug",
        "discharge yourself",
        "Never open a power supply",
        "smoke alarm",
        "ask a qualified person",
    ):
        assert words in README


def test_the_tree_for_contributors_names_every_folder() -> None:
    named = re.findall(r"[├└]── (\w+)/", DEVELOPERS)
    folders = sorted(p.name for p in (ROOT / "harness").iterdir() if (p / "__init__.py").exists())

    assert sorted(named) == folders


def test_the_changelog_has_a_place_for_what_comes_next() -> None:
    assert re.search(r"^## \[Unreleased\]$", CHANGELOG, flags=re.MULTILINE)


WITH_EXAMPLES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in sorted((ROOT / "harness").rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_in_docstrings_are_true(module: str) -> None:
    tried = doctest.testmod(importlib.import_module(module))

    assert tried.attempted > 0
    assert tried.failed == 0
