"""Let the operating system start the daemon, or stop doing so.

Says what it will do, and does it with --yes. On Linux that is a unit of the user's own service
manager, since what is measured needs the user's screen and settings.
"""

from __future__ import annotations

import argparse
import getpass
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from harness.errors import AskedError, Exit, Problem
from harness.watch.service_files import UNIT, logon_task, systemd_unit

SCHEMA = "harness.service/1"
#: Handed on to the daemon as they are here: where things are kept, where commands are found.
_HANDED_ON = ("HARNESS_RIG", "HARNESS_STORE", "PATH")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("what", choices=("install", "remove"), help="what to do")
    parser.add_argument("--yes", action="store_true", help="do it, instead of saying what it is")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace, out: TextIO) -> Exit:
    """Say what will be done, or do it."""
    if sys.platform == "win32":
        return _on_windows(args, out)
    path, text = _unit_path(), _unit()
    if args.what == "install":
        commands = _install(path)
    else:
        commands = [["systemctl", "--user", "disable", "--now", UNIT]]
        if args.yes and not path.exists():
            raise _not_done("not-installed", f"there is no {path}", "nothing is to be removed")
    after = [["systemctl", "--user", "daemon-reload"]] if args.what == "remove" else []
    if args.yes:
        if args.what == "install":
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        _carry_out(commands, written=path if args.what == "install" else None)
        if args.what == "remove":
            path.unlink(missing_ok=True)
            _carry_out(after, written=None)
    _show(args, out, path=path, text=text, commands=[*commands, *after])
    return Exit.WELL


def _install(path: Path) -> list[list[str]]:
    return [
        ["systemctl", "--user", "daemon-reload"],
        ["systemctl", "--user", "enable", "--now", UNIT],
        # Without this the user's services end with the last login, and do not start with the rig.
        ["loginctl", "enable-linger", getpass.getuser()],
    ]


def _unit_path() -> Path:
    named = os.environ.get("XDG_CONFIG_HOME", "")
    base = Path(named) if Path(named).is_absolute() else Path.home() / ".config"
    return base / "systemd" / "user" / UNIT


def _unit() -> str:
    handed = {name: os.environ[name] for name in _HANDED_ON if name in os.environ}
    return systemd_unit((sys.executable, "-m", "harness", "daemon"), environment=handed)


def _carry_out(commands: Sequence[Sequence[str]], *, written: Path | None) -> None:
    """Carry out *commands*; where one fails, say so, and take back the file that was written.

    Raises:
        AskedError: one failed.
    """
    for command in commands:
        try:
            done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
            said, failed = (done.stderr or done.stdout).strip(), done.returncode != 0
        except (OSError, subprocess.TimeoutExpired) as error:
            said, failed = str(error), True
        if failed:
            if written is not None:
                written.unlink(missing_ok=True)
            raise _not_done(
                "service-refused",
                f"{' '.join(command)} failed: {said or 'it did not say why'}",
                "put that right and give the command again; the unit's file was taken back"
                if written is not None
                else "put that right and give the command again",
            )


def _not_done(code: str, what: str, do: str) -> AskedError:
    return AskedError(Problem(code=code, what=what, do=do))


def _on_windows(args: argparse.Namespace, out: TextIO) -> Exit:
    """Show the task; the daemon itself is not built for Windows yet."""
    if args.yes:
        raise _not_done(
            "not-built-yet",
            "the daemon is not built for this operating system yet",
            "leave --yes out to see the logon task that will start it",
        )
    command = (sys.executable, "-m", "harness", "daemon")
    _show(args, out, path=None, text=logon_task(command, user=getpass.getuser()), commands=[])
    return Exit.WELL


def _show(
    args: argparse.Namespace,
    out: TextIO,
    *,
    path: Path | None,
    text: str,
    commands: Sequence[Sequence[str]],
) -> None:
    if args.json:
        shown = {
            "schema": SCHEMA,
            "what": args.what,
            "done": args.yes,
            "file": str(path) if path is not None else None,
            "text": text if args.what == "install" else None,
            "commands": [list(command) for command in commands],
        }
        print(json.dumps(shown, ensure_ascii=False), file=out)
        return
    verb = "done" if args.yes else "this will be done with --yes"
    print(f"{verb}:", file=out)
    if args.what == "install":
        print(f"  write {path or 'a logon task'}:", file=out)
        print("".join(f"    {line}\n" for line in text.splitlines()), file=out)
    for command in commands:
        print(f"  {' '.join(command)}", file=out)
    if args.what == "remove":
        print(f"  remove {path}", file=out)
