"""Make .venv/ at the root of the project and install the locked versions into it.

Touches disk, processes and the network. Needs nothing but Python 3.11 and pip. What was
installed is stamped, so that a second run only looks at the stamp. Every way this can fail
has one sentence of its own.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "scripts" / "locked.txt"
PARTS = ("run", "test")  #: of the lock, in its order; a later one needs those before it

_NO_NETWORK = re.compile(
    "NewConnectionError|ConnectTimeout|ReadTimeout|ProxyError|SSLError|NameResolutionError"
    "|Max retries exceeded|Connection (refused|reset|broken)"
)


class Trouble(Exception):
    """Why there is no environment: code, what happened, what to do."""

    def __init__(self, code: str, what: str, *, do: str) -> None:
        super().__init__(f"error[{code}]: {what}\n  do: {do}")


def part_heading(part: str) -> str:
    """Return the line of the lock that a part begins with."""
    return f"# part: {part}"


def part_of_lock(lock: str, part: str) -> str:
    """Return what *part* installs: its own lines of the lock, and those of the parts before.

    Raises:
        ValueError: The lock has no such part.
    """
    later = PARTS[PARTS.index(part) + 1 :]
    if part_heading(part) not in lock.splitlines():
        raise ValueError(f"the lock has no part {part!r}")
    taken = []
    for line in lock.splitlines(keepends=True):
        if line.rstrip() in map(part_heading, later):
            break
        taken.append(line)
    return "".join(taken)


def python_of(venv: Path) -> Path:
    """Return the interpreter of the environment."""
    return venv / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")


def prepared(part: str, *, root: Path = ROOT) -> Path:
    """Return the interpreter of an environment that holds *part* of the lock.

    Args:
        part: ``run`` (to carry out plans) or ``test`` (also what the tests need).
        root: Folder of the project.

    Raises:
        Trouble: There can be no environment; says why and what to do.
    """
    try:
        return _prepared(part, root=root)
    except OSError as error:
        raise Trouble(
            "no-environment",
            f"{root / '.venv'} could not be written: {error.strerror}",
            do="make room or give yourself the right to write there, and start this again",
        ) from error


def _prepared(part: str, *, root: Path) -> Path:
    venv, stamp = root / ".venv", root / ".venv" / "installed.json"
    wanted, found = _fingerprint(root), _stamped(stamp)
    version = _version_of(venv)
    if found.get("root", str(root)) != str(root):
        version = None  # it was moved here: every script in it still starts the old place's Python
    if version is None:
        _make(venv)
        version = _version_of(venv)
        if version is None:
            raise Trouble(
                "environment-broken",
                f"the environment just made in {venv} does not start",
                do=f"delete {venv} and start this again; if it stays, repair this Python",
            )
    wanted |= {"python": version}
    serving = PARTS[PARTS.index(part) :]  # an environment for tests serves to run, too
    if any(found == wanted | {"part": other} for other in serving):
        return python_of(venv)
    stamp.unlink(missing_ok=True)  # from here to the end the environment is half made
    _install(venv, part=part, root=root)
    stamp.write_text(json.dumps(wanted | {"part": part}), encoding="utf-8")
    return python_of(venv)


def _fingerprint(root: Path) -> dict[str, str]:
    """Return what an environment depends on; it holds absolute paths, so also where it is."""
    files = ("scripts/locked.txt", "pyproject.toml", "harness/__init__.py")
    hashes = {name: hashlib.sha256((root / name).read_bytes()).hexdigest() for name in files}
    return {"root": str(root), **hashes}


def _stamped(stamp: Path) -> dict[str, str]:
    """Return what the stamp says; nothing where there is none, or not one of ours."""
    try:
        found = json.loads(stamp.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _version_of(venv: Path) -> str | None:
    """Return the Python version of an environment that works and is new enough, else None."""
    ask = "import sys; print(sys.version.split()[0], sys.version_info >= (3, 11), sys.prefix)"
    try:
        done = _quietly([str(python_of(venv)), "-I", "-c", ask])
    except OSError:
        return None
    version, new_enough, prefix = [*done.stdout.split(maxsplit=2), "", "", ""][:3]
    if done.returncode or new_enough != "True":
        return None
    return version if Path(prefix.strip()).resolve() == venv.resolve() else None


def _make(venv: Path) -> None:
    """Make the environment anew."""
    if venv.exists() and not (venv / "pyvenv.cfg").is_file():
        raise Trouble(
            "not-an-environment",
            f"{venv} exists and is no Python environment",
            do="move it away and start this again",
        )
    if not _has("venv") or not (_own_pip() or _has("ensurepip")):
        raise Trouble(
            "no-pip",
            f"this Python ({sys.executable}) has no pip, or cannot make environments",
            do="install both with your system's packages (on Debian: python3-venv)",
        )
    _say(f"making {venv}")
    # This Python's own pip installs into it: unpacking a second one takes most of the time.
    bare = ["--without-pip"] if _own_pip() else []
    done = _quietly([sys.executable, "-m", "venv", "--clear", *bare, str(venv)])
    if done.returncode:
        raise Trouble(
            "no-environment",
            f"Python could not make {venv}: {_last_line(done.stderr or done.stdout)}",
            do="make room or give yourself the right to write there, and start this again",
        )


def _has(module: str) -> bool:
    return importlib.util.find_spec(module) is not None


def _own_pip() -> bool:
    """Return whether this Python has a pip that can install into another environment."""
    if not _has("pip"):
        return False
    numbers = importlib.metadata.version("pip").split(".")[:2]
    return [int(number) for number in numbers if number.isdecimal()] >= [22, 3]


def _install(venv: Path, *, part: str, root: Path) -> None:
    """Install the locked packages, then the project itself, editable."""
    lock = part_of_lock((root / "scripts" / "locked.txt").read_text(encoding="utf-8"), part)
    _say(f"installing {len(re.findall(r'^[a-z]', lock, flags=re.MULTILINE))} locked packages")
    with tempfile.TemporaryDirectory() as folder:
        chosen = Path(folder, "locked.txt")
        chosen.write_text(lock, encoding="utf-8")
        # --no-deps: the lock is complete. --only-binary: nothing is compiled on a rig.
        strict = ("--require-hashes", "--no-deps", "--only-binary", ":all:")
        _pip(venv, "install", *strict, "--requirement", str(chosen))
    _pip(
        venv, "install", "--no-deps", "--no-index", "--no-build-isolation", "--editable", str(root)
    )


def _pip(venv: Path, *arguments: str) -> None:
    whose = [str(python_of(venv)), "-m", "pip"]
    if _own_pip():
        whose = [sys.executable, "-m", "pip", "--python", str(python_of(venv))]
    quiet = ("--quiet", "--disable-pip-version-check", "--no-input")
    done = _quietly([*whose, *arguments, *quiet])
    if done.returncode:
        log = venv / "install.log"
        log.write_text(done.stdout + done.stderr, encoding="utf-8")
        raise _trouble_of(done.stdout + done.stderr, log=log)


def _trouble_of(output: str, *, log: Path) -> Trouble:
    """Return in one sentence what pip's output means."""
    if "DO NOT MATCH THE HASHES" in output:
        return Trouble(
            "other-package",
            "a package that was offered is not the one that the lock names",
            do=f"find out which (it stands in {log}) and do not install it by hand",
        )
    if _NO_NETWORK.search(output):
        return Trouble(
            "no-network",
            "the package index could not be reached",
            do=f"see to the network (pip's own words are in {log}) and start this again",
        )
    if re.search(r"No space left on device|Errno 28", output):
        return Trouble("disk-full", "the disk is full", do="make room and start this again")
    version = ".".join(map(str, sys.version_info[:2]))
    if "No matching distribution" in output:
        return Trouble(
            "no-package",
            f"the package index offers nothing that fits Python {version} on this system: "
            f"{_last_line(output)}",
            do="use a Python from 3.11 to 3.14 on Linux, Windows or macOS, and a full index",
        )
    return Trouble(
        "not-installed",
        f"pip could not install: {_last_line(output)}",
        do=f"read {log}, put it right, and start this again",
    )


def _last_line(output: str) -> str:
    """Return the last line that says what went wrong, without pip's own mark."""
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    errors = [line for line in lines if line.lower().startswith("error")] or lines or ["no word"]
    return re.sub(r"^error:\s*", "", errors[-1], flags=re.IGNORECASE).rstrip(".")


def clean_environment() -> dict[str, str]:
    """Return this process's environment without what would bend the one we make."""
    bending = ("PYTHONPATH", "PYTHONHOME", "PIP_TARGET", "PIP_PREFIX", "__PYVENV_LAUNCHER__")
    kept = {name: value for name, value in os.environ.items() if name not in bending}
    return kept | {"PIP_USER": "0", "PIP_REQUIRE_VIRTUALENV": "0"}


def _quietly(command: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        encoding="utf-8",
        errors="replace",
        env=clean_environment(),
    )


def _say(what: str) -> None:
    print(f"environment: {what} …", file=sys.stderr, flush=True)
