"""Write scripts/locked.txt: exact versions with hashes, for every supported Python and system.

Touches disk and the network. Run it with the project's environment after a change of what
pyproject.toml asks for, or with ``--upgrade`` to take newer versions. The file has two
parts: what carrying out a plan needs, and what the tests need on top.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

from environment import LOCK, ROOT, part_heading

#: From the lock and nothing else: no index, folder of wheels or setting of this machine.
_COMPILE = (
    *("uv", "pip", "compile", "--no-config", "--universal", "--python-version", "3.11"),
    *("--generate-hashes", "--no-emit-index-url", "--no-annotate", "--no-header", "--quiet"),
)


def _compiled(requirements: list[str], *, constraints: str) -> str:
    """Return the requirements and all they need, locked, holding to *constraints*."""
    with tempfile.TemporaryDirectory() as folder:
        asked, held = Path(folder, "asked.in"), Path(folder, "held.txt")
        asked.write_text("\n".join(requirements), encoding="utf-8")
        held.write_text(constraints, encoding="utf-8")
        command = [sys.executable, "-m", *_COMPILE, "--constraints", str(held), str(asked)]
        done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return done.stdout


def _blocks(locked: str) -> list[str]:
    """Return the locked packages: a line with name and version, then its hashes."""
    return [block.rstrip() for block in re.split(r"^(?=\S)", locked, flags=re.MULTILINE) if block]


def _versions(locked: str) -> str:
    """Return only the lines with name, version and marker."""
    return "\n".join(block.splitlines()[0].removesuffix(" \\") for block in _blocks(locked))


def main() -> int:
    """Lock both parts together, so that they never ask for two versions of one package."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--upgrade", action="store_true", help="take the newest versions")
    upgrade = parser.parse_args().upgrade

    asked = tomllib.loads(ROOT.joinpath("pyproject.toml").read_text(encoding="utf-8"))
    project = asked["project"]
    run = [*project["dependencies"], *asked["build-system"]["requires"]]
    extras = project["optional-dependencies"].values()
    test = [*(line for extra in extras for line in extra), *asked["dependency-groups"]["test"]]

    before = "" if upgrade or not LOCK.exists() else _versions(LOCK.read_text(encoding="utf-8"))
    everything = _compiled(run + test, constraints=before)
    needed = _blocks(_compiled(run, constraints=_versions(everything)))
    rest = [block for block in _blocks(everything) if block not in needed]
    lines = [
        "# Exact versions with hashes, for every supported Python and system.",
        "# Made by scripts/lock.py from pyproject.toml; not edited by hand.",
        *("", part_heading("run"), *needed),
        *("", part_heading("test"), *rest),
    ]
    LOCK.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{LOCK.name}: {len(needed)} packages to run, {len(rest)} more to test")
    return 0


if __name__ == "__main__":
    sys.exit(main())
