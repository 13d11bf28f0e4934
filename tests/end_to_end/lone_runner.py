"""A runner to be killed: ``lone_runner.py FOLDER COMMAND [ARGUMENT …]``.

It takes the rig, carries out one pass, and prints the number of its own process and, when
all is over, how the pass ended. SIGTERM and SIGINT raise its flag.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from harness.errors import HarnessError
from harness.rig.clock import MachineClock
from harness.rig.locks import RunnerLock
from harness.rig.stop import StopFlag
from tests.end_to_end.rigs import bench, task, title


def main(folder: Path, argv: list[str]) -> int:
    flag = StopFlag()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: flag.raise_for("told to"))
    try:
        with RunnerLock(folder / "rig", plan="two-slots", now=MachineClock().now()):
            rig = bench(folder, flag=flag)
            left = rig.recover("run-1")
            print(f"runner {os.getpid()}", *left.ended, sep="\n", flush=True)
            end = rig.carry_out(task(title(*argv, time_limit_s=60.0)), flag).end
            print(f"ended {end.by.value}", *end.survivors, sep="\n", flush=True)
    except HarnessError as error:
        print(error, flush=True)
        return int(error.status)
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2:]))
