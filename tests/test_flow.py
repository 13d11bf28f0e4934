"""The tree is what its first page says: folders, order of imports, purity, size."""

from __future__ import annotations

import ast
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "harness"
LIMIT = 300  # lines of one module

#: Modules that may be longer, each with its reason.
LONGER = {
    "harness.plan.document": "frozen values only: the whole plan on one page",
    "harness.run.records": "frozen values only: everything that is ever kept, on one page",
}

FOLDERS = sorted(
    folder.name for folder in PACKAGE.iterdir() if folder.is_dir() and any(folder.glob("*.py"))
)


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path): path for path in sorted(PACKAGE.rglob("*.py"))}
WRITTEN = {name: path for name, path in MODULES.items() if path.stat().st_size}


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def docstring(path: Path) -> str:
    return ast.get_docstring(tree(path)) or ""


def imported(path: Path) -> set[str]:
    """Every module of the harness that the file names, wherever in the file it does."""
    found = set()
    for node in ast.walk(tree(path)):
        match node:
            case ast.Import(names=names):
                found |= {alias.name for alias in names}
            case ast.ImportFrom(module=str(module), names=names):
                found |= {module, *(f"{module}.{alias.name}" for alias in names)}
            case _:
                pass
    return {name for name in found if name in MODULES}


def folder_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 and parts[1] in FOLDERS else None


def test_the_map_on_the_first_page_lists_the_folders_in_their_order() -> None:
    listed = re.findall(r"^ {4}(\w+) +[A-Z]+ ", docstring(PACKAGE / "__init__.py"), re.MULTILINE)

    assert listed == [name for name in FOLDERS if name != "commands"]


@pytest.mark.parametrize("name", sorted(name for name in WRITTEN if folder_of(name)))
def test_a_folder_imports_only_folders_before_it_in_the_alphabet(name: str) -> None:
    own = folder_of(name)
    assert own is not None

    later = {
        other
        for other in imported(WRITTEN[name])
        if (folder := folder_of(other)) and (folder == "commands" or folder > own)
    }

    assert own == "commands" or not later


@pytest.mark.parametrize("name", ["errors", "settings", "units"])
def test_what_every_folder_may_import_imports_no_folder(name: str) -> None:
    path = PACKAGE / f"{name}.py"
    if not path.exists():
        pytest.skip(f"there is no {name}.py yet")

    assert {other for other in imported(path) if folder_of(other)} == set()


@pytest.mark.parametrize("name", sorted(set(WRITTEN) - set(LONGER)))
def test_no_module_is_longer_than_a_few_pages(name: str) -> None:
    lines = WRITTEN[name].read_text(encoding="utf-8").count("\n")

    assert lines <= LIMIT


def test_every_longer_module_still_is_one() -> None:
    short = [
        name for name in LONGER if WRITTEN[name].read_text(encoding="utf-8").count("\n") <= LIMIT
    ]

    assert short == []


def test_the_init_file_of_a_folder_is_empty() -> None:
    filled = [
        name for name, path in WRITTEN.items() if path.name == "__init__.py" and name != "harness"
    ]

    assert filled == []


def says_pure(path: Path) -> bool:
    return re.search(r"^Pure\.", docstring(path), re.MULTILINE) is not None


@pytest.mark.parametrize("name", sorted(name for name in WRITTEN if folder_of(name)))
def test_a_module_says_whether_it_is_pure_or_what_it_touches(name: str) -> None:
    if folder_of(name) == "commands":
        pytest.skip("the docstring of a command is its help text; commands touch everything")

    assert re.search(r"^(Pure|Touches)\b", docstring(WRITTEN[name]), re.MULTILINE)


def test_the_contract_names_exactly_the_modules_that_say_pure() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = {c["id"]: c for c in settings["tool"]["importlinter"]["contracts"]}
    named = set(contracts["pure"]["source_modules"])
    pure = {name for name, path in WRITTEN.items() if says_pure(path)}

    assert sorted(pure - named) == [], "say Pure, but are missing in pyproject.toml"
    assert sorted(named - pure) == [], "stand in pyproject.toml, but do not say Pure"
