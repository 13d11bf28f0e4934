"""All tests: the environment with the locked versions, then pytest.

Touches disk, processes and the network. Needs nothing but Python 3.11 and pip; works from
any folder. Arguments are handed on to pytest: ``scripts/test.py tests/plan -k units``. Hypothesis
draws the same examples each time; ``--hypothesis-profile default`` looks for others.
"""

import sys

if sys.version_info < (3, 11):
    sys.exit(
        f"error[old-python]: this needs Python 3.11 or newer, and {sys.executable} is "
        f"{sys.version.split()[0]}\n  do: start it with a newer one: python3.13 scripts/test.py"
    )

import subprocess
from collections.abc import Sequence

from environment import ROOT, Trouble, clean_environment, prepared


def main(arguments: Sequence[str]) -> int:
    """Prepare and test; return pytest's exit status."""
    try:
        python = prepared("test")
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 3
    except KeyboardInterrupt:
        return 130
    # `logical`: a machine with two threads of one core still tests twice as fast with two.
    # `ci`: Hypothesis's own, without chance and deadlines, so that a run can be repeated.
    options = ["--numprocesses", "logical", "--hypothesis-profile", "ci"]
    command = [str(python), "-m", "pytest", *options, *arguments]
    try:
        return subprocess.run(command, cwd=ROOT, env=clean_environment(), check=False).returncode
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
