"""The demo: carry out plans/demo.yaml on this machine, show the results, say where they are.

Touches disk, processes and the network. Needs nothing but Python 3.11 and pip; works from
any folder. A second start shows what the first one kept.
"""

import sys

if sys.version_info < (3, 11):
    sys.exit(
        f"error[old-python]: this needs Python 3.11 or newer, and {sys.executable} is "
        f"{sys.version.split()[0]}\n  do: start it with a newer one: python3.13 scripts/demo.py"
    )

import argparse
import shlex
import signal
import subprocess
from collections.abc import Sequence
from pathlib import Path

from environment import ROOT, Trouble, clean_environment, prepared

PLAN = "plans/demo.yaml"


def main(arguments: Sequence[str] | None = None) -> int:
    """Prepare, run, show; return the exit status of the first command that was not all well."""
    parser = argparse.ArgumentParser(description="Carry out plans/demo.yaml and show the results.")
    parser.add_argument(
        "--store",
        type=Path,
        default=ROOT / "demo-store",
        metavar="FOLDER",
        help="where everything is kept (default: demo-store in the project's folder)",
    )
    parser.add_argument("--again", action="store_true", help="start another run of the plan")
    asked = parser.parse_args(arguments)
    store = asked.store.absolute()
    try:
        python = prepared("run")
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 3
    except KeyboardInterrupt:
        return 130

    again = ["--again"] if asked.again else []
    ran = _harness(python, "run", PLAN, "--store", str(store), *again)
    if ran not in (0, 1):  # neither done nor done with cells not accepted: nothing to show
        return ran
    print("\nResults\n", flush=True)
    shown = _harness(python, "results", "--store", str(store))
    door = python.with_name("harness.exe" if sys.platform == "win32" else "harness")
    kept, ask = shlex.quote(str(store)), shlex.quote(str(door))
    print(
        f"\nEverything is kept in {store}: every record, every capture byte for byte."
        f"\nWhere a number comes from:  {ask} trace CELL --store {kept}"
        f"\nThe same as JSON:           {ask} results --json --store {kept}"
        f"\nIs it real?                 {ask} compare --base culling=whole --against culling=tiled "
        f"--store {kept}"
        f"\nAll of it in a browser:     {ask} page --store {kept}"
    )
    return ran or shown


def _harness(python: Path, *arguments: str) -> int:
    """Run one command of the harness in this terminal; return its exit status."""
    command = [str(python), "-m", "harness", *arguments]
    with subprocess.Popen(command, cwd=ROOT, env=clean_environment()) as door:
        # Ctrl-C reaches the command too, which stops cleanly and says how to go on.
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
        signal.signal(signal.SIGTERM, lambda *_: door.terminate())
        status = door.wait()
        signal.signal(signal.SIGINT, before)
    return status if status >= 0 else 128 - status


if __name__ == "__main__":
    sys.exit(main())
