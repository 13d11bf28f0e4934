"""The environment of the two commands: what is installed, when, and what is said when not."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import environment
from environment import LOCK, PARTS, ROOT, Trouble, part_of_lock, prepared

LOCKED = LOCK.read_text(encoding="utf-8")


class Machine:
    """Stands in for the processes: answers as a working Python and a working pip would."""

    def __init__(self, venv: Path) -> None:
        self.venv = venv
        self.commands: list[list[str]] = []
        self.version = "3.11.7"
        self.new_enough = True
        self.pip_says = ""

    def __call__(self, command: list[str]) -> subprocess.CompletedProcess[str]:
        if "-c" in command:  # asked for its version
            if not self.venv.exists():
                raise FileNotFoundError(command[0])
            answer = f"{self.version} {self.new_enough} {self.venv}\n"
            return subprocess.CompletedProcess(command, 0, stdout=answer, stderr="")
        self.commands.append(command)
        if "venv" in command:
            self.venv.mkdir(exist_ok=True)
            (self.venv / "pyvenv.cfg").touch()
            return subprocess.CompletedProcess(command, 0, stdout="", stderr="")
        status = 1 if self.pip_says else 0
        return subprocess.CompletedProcess(command, status, stdout="", stderr=self.pip_says)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    for name in ("scripts/locked.txt", "pyproject.toml", "harness/__init__.py"):
        target = tmp_path / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes((ROOT / name).read_bytes())
    return tmp_path


@pytest.fixture
def machine(project: Path, monkeypatch: pytest.MonkeyPatch) -> Machine:
    stands_in = Machine(project / ".venv")
    monkeypatch.setattr(environment, "_quietly", stands_in)
    return stands_in


def test_the_first_start_makes_an_environment_and_installs_with_hashes(
    project: Path, machine: Machine
) -> None:
    prepared("run", root=project)

    made, packages, itself = machine.commands
    assert "venv" in made
    assert "--require-hashes" in packages
    assert itself[itself.index("--editable") + 1] == str(project)


def test_a_second_start_installs_nothing(project: Path, machine: Machine) -> None:
    prepared("run", root=project)
    machine.commands.clear()

    prepared("run", root=project)

    assert machine.commands == []


def test_an_environment_for_tests_serves_to_run(project: Path, machine: Machine) -> None:
    prepared("test", root=project)
    machine.commands.clear()

    prepared("run", root=project)

    assert machine.commands == []


def test_an_environment_to_run_does_not_serve_for_tests(project: Path, machine: Machine) -> None:
    prepared("run", root=project)
    machine.commands.clear()

    prepared("test", root=project)

    assert [command for command in machine.commands if "--require-hashes" in command]


@pytest.mark.parametrize("name", ["scripts/locked.txt", "pyproject.toml", "harness/__init__.py"])
def test_a_change_of_what_it_is_made_from_installs_again(
    name: str, project: Path, machine: Machine
) -> None:
    prepared("run", root=project)
    machine.commands.clear()
    with (project / name).open("a", encoding="utf-8") as file:
        file.write("\n# changed\n")

    prepared("run", root=project)

    assert machine.commands


def test_an_install_that_was_cut_short_is_done_again(project: Path, machine: Machine) -> None:
    prepared("run", root=project)
    machine.pip_says = "ERROR: killed"
    (project / "pyproject.toml").write_text("", encoding="utf-8")
    with pytest.raises(Trouble):
        prepared("run", root=project)
    machine.pip_says = ""
    (project / "pyproject.toml").write_bytes((ROOT / "pyproject.toml").read_bytes())
    machine.commands.clear()

    prepared("run", root=project)

    assert machine.commands


def test_a_stamp_that_is_no_stamp_installs_again(project: Path, machine: Machine) -> None:
    prepared("run", root=project)
    machine.commands.clear()
    (project / ".venv" / "installed.json").write_text("[]", encoding="utf-8")

    prepared("run", root=project)

    assert machine.commands


def test_an_environment_of_an_older_python_is_made_anew(project: Path, machine: Machine) -> None:
    prepared("run", root=project)
    machine.new_enough = False
    machine.commands.clear()

    with pytest.raises(Trouble, match="environment-broken"):
        prepared("run", root=project)

    assert "venv" in machine.commands[0]


def test_an_environment_that_was_moved_is_made_anew(
    project: Path, machine: Machine, tmp_path_factory: pytest.TempPathFactory
) -> None:
    prepared("run", root=project)
    machine.commands.clear()
    moved = tmp_path_factory.mktemp("elsewhere") / "project"
    project.rename(moved)
    machine.venv = moved / ".venv"

    prepared("run", root=moved)

    assert "venv" in machine.commands[0]


def test_a_disk_that_refuses_is_said_in_one_sentence(
    project: Path, machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "write_text", refuse)

    with pytest.raises(Trouble, match=r"no-environment.*Permission denied"):
        prepared("run", root=project)


def test_a_folder_that_is_no_environment_is_left_alone(project: Path, machine: Machine) -> None:
    (project / ".venv").mkdir()
    (project / ".venv" / "mine.txt").touch()
    machine.new_enough = False

    with pytest.raises(Trouble, match="not-an-environment"):
        prepared("run", root=project)

    assert (project / ".venv" / "mine.txt").exists()


# pip's words, each as pip 23.2 or 26.3 printed it.
PIP_SAYS = {
    "no-network": "WARNING: Retrying (Retry(total=4)) after connection broken by "
    "'NewConnectionError('<pip._vendor.urllib3.connection.HTTPSConnection object>: Failed to "
    "establish a new connection: [Errno -3] Temporary failure in name resolution')'\n"
    "ERROR: Could not find a version that satisfies the requirement psutil==7.2.2\n"
    "ERROR: No matching distribution found for psutil==7.2.2\n",
    "other-package": "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.\n",
    "disk-full": "ERROR: Could not install packages due to an OSError: [Errno 28] No space left "
    "on device\n",
    "no-package": "ERROR: Could not find a version that satisfies the requirement psutil==7.2.2 "
    "(from versions: none)\nERROR: No matching distribution found for psutil==7.2.2\n",
    "not-installed": "ERROR: something that nobody foresaw\n",
}


@pytest.mark.parametrize("code", PIP_SAYS)
def test_what_pip_could_not_do_is_said_in_one_sentence(
    code: str, project: Path, machine: Machine
) -> None:
    machine.pip_says = PIP_SAYS[code]

    with pytest.raises(Trouble) as caught:
        prepared("run", root=project)

    first, second = str(caught.value).splitlines()
    assert first.startswith(f"error[{code}]: ")
    assert second.startswith("  do: ")
    assert (project / ".venv" / "install.log").read_text(encoding="utf-8") == PIP_SAYS[code]


def test_a_python_without_pip_is_told_so(
    project: Path, machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(environment, "_has", lambda module: module == "venv")

    with pytest.raises(Trouble, match="no-pip"):
        prepared("run", root=project)

    assert machine.commands == []


def test_without_a_network_the_demo_says_so_and_shows_no_traceback(tmp_path: Path) -> None:
    names = ("scripts/environment.py", "scripts/demo.py", "scripts/locked.txt", "pyproject.toml")
    for name in (*names, "harness/__init__.py"):
        target = tmp_path / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes((ROOT / name).read_bytes())
    offline = {
        "PATH": "",
        "PIP_CONFIG_FILE": str(tmp_path / "none"),
        "PIP_INDEX_URL": "http://127.0.0.1:9/simple",  # the discard port: nothing listens
        "PIP_RETRIES": "1",
        "PIP_NO_CACHE_DIR": "1",
    }

    done = subprocess.run(
        [sys.executable, str(tmp_path / "scripts" / "demo.py")],
        capture_output=True,
        check=False,
        encoding="utf-8",
        env=offline,
    )

    assert done.returncode == 3
    assert "error[no-network]" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_lock_is_named_by_hashes_and_by_no_place() -> None:
    packages = re.findall(r"^[a-z].*?(?=^\S|\Z)", LOCKED, flags=re.MULTILINE | re.DOTALL)

    assert len(packages) > 40
    assert all(re.match(r"[a-z0-9-]+==[0-9][0-9A-Za-z.]*( ; .+)? \\\n", p) for p in packages)
    assert all("--hash=sha256:" in package for package in packages)
    assert not re.search(r"://|find-links|index-url|file:|@", LOCKED)


def test_the_part_to_run_leaves_the_test_tools_out() -> None:
    run = part_of_lock(LOCKED, "run")

    assert "psutil==" in run
    assert "pytest==" not in run
    assert part_of_lock(LOCKED, "test") == LOCKED


def test_a_lock_without_the_part_is_refused() -> None:
    with pytest.raises(ValueError, match="no part 'run'"):
        part_of_lock("psutil==7.2.2\n", "run")


def test_the_lock_holds_everything_that_the_project_asks_for() -> None:
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    needed = {
        "run": [*asked["project"]["dependencies"], *asked["build-system"]["requires"]],
        "test": [
            *asked["dependency-groups"]["test"],
            *asked["project"]["optional-dependencies"]["analysis"],
        ],
    }

    for part in PARTS:
        locked = re.findall(r"^([a-z0-9-]+)==", part_of_lock(LOCKED, part), flags=re.MULTILINE)
        names = {re.match(r"[\w-]+", line)[0].lower() for line in needed[part]}  # type: ignore[index]
        assert names - set(locked) == set()


def test_what_is_stamped_names_the_folder_it_holds_for(project: Path, machine: Machine) -> None:
    prepared("run", root=project)

    stamp = json.loads((project / ".venv" / "installed.json").read_text(encoding="utf-8"))
    assert stamp["root"] == str(project)
    assert stamp["python"] == machine.version
