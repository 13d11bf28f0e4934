"""Hundreds of short cells with the page asked by several clients: memory, handles, threads flat.

Touches disk, processes, the network of this machine and the clock. ``python scripts/soak.py
[--cells N] [--clients N]``; exit status 1 where the page grew.

While the run grows, so does what a summary of all of it needs for a moment: that is bounded by
the cells. With the run over and the same clients asking on, nothing may grow any more. What a
view needs at its first use (its modules, its template) is there before counting begins: every
view of a small run is asked for first.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import re
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from harness.rig.clock import MachineClock  # noqa: E402 - the line above makes it importable

GREW_MB = 3.0  #: more than this with the run over is growth
A_CELL_MB = 0.1  #: so much may be added for each cell of the run that is summarised
AFTER_S = 40.0  #: that the clients ask on when the run is over
_SAMPLE_S = 5.0
FIRST_CELLS = 3  #: of the run whose views are asked for before counting begins

_TITLE = """\
import sys
with open(sys.argv[1], "w") as log:
    log.write("frame_ms\\n" + "".join(f"{0.1 + n % 7 / 100}\\n" for n in range(200)))
"""

_PLAN = """\
plan: soak
settings: {{fhd: {{size: 1920x1080}}}}
titles:
{titles}
passes: {{keep: 1, at_most: 2}}
limits: none
"""

_ONE = """\
  - title: Lantern Quay {number}
    scene: loop
    settings: [fhd]
    command: [{python}, {title}, "{{captures}}/frames.csv"]
    time_limit: 20 s
    frames: {{file: frames.csv, column: frame_ms, unit: ms}}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """What a process holds."""

    memory_mb: float
    handles: int
    threads: int

    @classmethod
    def of(cls, pid: int) -> Weight:
        """Return what the process *pid* holds now."""
        proc = Path(f"/proc/{pid}")
        text = (proc / "status").read_text(encoding="ascii")
        return cls(
            memory_mb=int(re.findall(r"VmRSS:\s+(\d+)", text)[0]) / 1024,
            handles=len(list((proc / "fd").iterdir())),
            threads=int(re.findall(r"Threads:\s+(\d+)", text)[0]),
        )


def views(run: str) -> tuple[str, ...]:
    """Return what the clients ask for, one after another."""
    return (
        "/", "/api/look", f"/runs/{run}", f"/api/runs/{run}", f"/api/runs/{run}/results",
        f"/parts/ahead/{run}", "/rigs",
    )  # fmt: skip


class Client(threading.Thread):
    """Asks the page for one view after another.

    Args:
        netloc: Where the page is.
        over: Set when it is to stop.
        number: Which one it is: each begins at another view.
        turns: After how many views it stops by itself; None: after none.
    """

    def __init__(
        self, netloc: str, over: threading.Event, *, number: int, turns: int | None = None
    ) -> None:
        super().__init__(name=f"client-{number}")
        self._netloc, self._over, self._number, self._turns = netloc, over, number, turns
        self.answers: dict[int, int] = {}

    def run(self) -> None:
        """Ask, and count the answers by their status."""
        turn = self._number
        while turn - self._number != self._turns and not self._over.wait(0.4):
            line = http.client.HTTPConnection(self._netloc, timeout=30)
            with suppress(OSError):
                run = self._ask(line, "/api/runs")
                runs = json.loads(run)["runs"]
                all_views = views(runs[0]["run"] if runs else "none")
                self._ask(line, all_views[turn % len(all_views)])
            line.close()
            turn += 1

    def _ask(self, line: http.client.HTTPConnection, path: str) -> bytes:
        line.request("GET", path)
        answer = line.getresponse()
        body = answer.read()
        self.answers[answer.status] = self.answers.get(answer.status, 0) + 1
        return body


def main(arguments: Sequence[str] | None = None) -> int:
    """Soak, show what was seen, return the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cells", type=int, default=300)
    parser.add_argument("--clients", type=int, default=4)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="soak-") as name:
        return _soak(Path(name), cells=asked.cells, clients=asked.clients)


def _plan(folder: Path, name: str, *, cells: int) -> None:
    python, title = json.dumps(sys.executable), json.dumps(str(folder / "title.py"))
    titles = "".join(
        _ONE.format(number=number, python=python, title=title) for number in range(cells)
    )
    (folder / name).write_text(_PLAN.format(titles=titles), encoding="utf-8")


def _soak(folder: Path, *, cells: int, clients: int) -> int:
    (folder / "title.py").write_text(_TITLE, encoding="utf-8")
    _plan(folder, "first.yaml", cells=FIRST_CELLS)
    _plan(folder, "plan.yaml", cells=cells)
    environment = {
        **os.environ,
        "HARNESS_STORE": str(folder / "store"),
        "HARNESS_RIG": str(folder / "rig"),
        "PYTHONPATH": str(ROOT),
    }
    door = [sys.executable, "-m", "harness"]
    clock, over = MachineClock(), threading.Event()
    page = subprocess.Popen(
        [*door, "page", "--port", "0", "--json"], cwd=folder, env=environment,
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert page.stdout is not None
    said = json.loads(page.stdout.readline())
    netloc = urlsplit(said["address"]).netloc

    def run(plan: str) -> subprocess.Popen[bytes]:
        command = [*door, "run", plan, "--plain"]
        return subprocess.Popen(command, cwd=folder, env=environment, stdout=subprocess.DEVNULL)

    if status := run("first.yaml").wait():
        page.terminate()
        page.wait()
        page.stdout.close()
        return status
    first = [Client(netloc, over, number=n, turns=len(views(""))) for n in range(clients)]
    for client in first:
        client.start()
    for client in first:
        client.join()
    before = Weight.of(said["pid"])
    runner = run("plan.yaml")
    asking = [Client(netloc, over, number=number) for number in range(clients)]
    for client in asking:
        client.start()
    seen: list[Weight] = []
    after: list[Weight] = []
    try:
        while runner.poll() is None or len(after) * _SAMPLE_S < AFTER_S:
            clock.pause(_SAMPLE_S)
            own = seen if runner.poll() is None else after
            own.append(Weight.of(said["pid"]))
            one, when = own[-1], "run" if own is seen else "after"
            print(
                f"{when:5} {len(own) * _SAMPLE_S:5.0f} s  {one.memory_mb:6.1f} MB  "
                f"{one.handles:3} handles  {one.threads:2} threads",
                flush=True,
            )
    finally:
        over.set()
        for client in asking:
            client.join()
        for process in (runner, page):
            process.terminate()
            process.wait()
        page.stdout.close()
    return _judged(before, seen, after, asking, status=runner.returncode, cells=cells)


def _judged(
    before: Weight,
    seen: Sequence[Weight],
    after: Sequence[Weight],
    asking: Sequence[Client],
    *,
    status: int,
    cells: int,
) -> int:
    answers: dict[int, int] = {}
    for client in asking:
        for code, count in client.answers.items():
            answers[code] = answers.get(code, 0) + count
    bad = [code for code in answers if code not in (200, 404, 429, 503)]
    half = len(after) // 2
    early, late = after[:half], after[half:]
    grew_mb = max(x.memory_mb for x in late) - max(x.memory_mb for x in early)
    run_mb = max(x.memory_mb for x in (*seen, *after)) - before.memory_mb
    clients = len(asking)
    problems = [
        *([f"it grew by {grew_mb:.1f} MB with the run over"] if grew_mb > GREW_MB else []),
        *([f"it grew by {run_mb:.1f} MB over the run"] if run_mb > cells * A_CELL_MB else []),
        *(["handles stay open"] if min(x.handles for x in late) > before.handles + clients else []),
        *(["threads stay"] if max(x.threads for x in late) > 8 else []),
        *([f"answers that must not be: {bad}"] if bad else []),
        *([f"the runner ended with {status}"] if status else []),
    ]
    print(f"answers by status: {dict(sorted(answers.items()))}")
    print(f"over the run {run_mb:+.1f} MB, with the run over {grew_mb:+.1f} MB")
    print("; ".join(problems) or "flat")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
