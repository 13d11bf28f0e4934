"""`harness …` that kills itself with SIGKILL at a chosen moment: killed_runner.py POINT N ARGS.

POINT is a function (module:Class.method) and a side, ``before`` or ``after``, as in
``harness.rig.bench:RealBench.carry_out/after``; N says at which call. Real processes, a real
kill -9, and nothing in the harness that knows of it.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))


def arm(point: str, at_call: int) -> None:
    where, side = point.split("/")
    module, path = where.split(":")
    owner: Any = importlib.import_module(module)
    *owners, name = path.split(".")
    for each in owners:
        owner = getattr(owner, each)
    real = getattr(owner, name)
    calls = 0

    def call(*args: Any, **kwargs: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls == at_call and side == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        answer = real(*args, **kwargs)
        if calls == at_call and side == "after":
            os.kill(os.getpid(), signal.SIGKILL)
        return answer

    setattr(owner, name, call)


if __name__ == "__main__":
    arm(sys.argv[1], int(sys.argv[2]))
    from harness.__main__ import main

    sys.exit(main(sys.argv[3:], out=sys.stdout, err=sys.stderr))
