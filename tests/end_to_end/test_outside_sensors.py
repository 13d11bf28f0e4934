"""The lab's own sensors with real processes and a real address of this machine."""

from __future__ import annotations

import http.server
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from harness.rig.clock import MachineClock
from harness.rig.quantities import Form
from harness.rig.readings import Reading
from harness.rig.sensors.outside import OutsideSource, outside_sources
from harness.rig.sensors.outside_lines import Declared
from harness.rig.sensors.outside_settings import Outside
from harness.rig.tree import all_processes

ROOM = (Declared(name="room.temperature", unit="°C", form=Form.NUMBER),)
KEPT = """
import os, time
open("probe.pid", "w").write(str(os.getpid()))
while True:
    print("room.temperature 22.4 °C", flush=True)
    time.sleep(0.1)
"""


def started(folder: Path, **what: object) -> OutsideSource:
    outside = Outside(readings=ROOM, **what)  # type: ignore[arg-type]
    (source,) = outside_sources([outside], folder=folder, pause=MachineClock().pause)
    return source


def reading(source: OutsideSource) -> Reading:
    return source.read(MachineClock().steady_s())["room.temperature"]


def eventually(holds: Callable[[], bool], *, within_s: float = 10.0) -> bool:
    deadline_s = time.monotonic() + within_s
    while not holds():
        if time.monotonic() > deadline_s:
            return False
        time.sleep(0.05)
    return True


def python(text: str) -> tuple[str, ...]:
    return (sys.executable, "-c", text)


def test_a_command_is_kept_running_and_ends_with_the_source(tmp_path: Path) -> None:
    source = started(tmp_path, command=python(KEPT))
    assert reading(source).value == 22.4
    pid = int((tmp_path / "probe.pid").read_text())
    assert pid in all_processes()
    source.close()  # type: ignore[attr-defined]
    assert eventually(lambda: pid not in all_processes() or all_processes()[pid].is_over)


def test_a_look_costs_no_more_than_reading_a_small_file(tmp_path: Path) -> None:
    source = started(tmp_path, command=python(KEPT))
    reading(source)
    took = []
    for _ in range(50):
        began = time.perf_counter()
        source.read(MachineClock().steady_s())
        took.append(time.perf_counter() - began)
    # Far above what it takes here (about 10 µs), far below a tick that anybody would notice.
    assert sorted(took)[len(took) // 2] < 2e-3


def test_a_command_that_ended_says_how(tmp_path: Path) -> None:
    source = started(tmp_path, command=python("import sys; sys.exit('no probe here')"))
    assert reading(source).why == "its command ended with status 1, saying: no probe here"


def test_a_command_that_is_not_there_says_so(tmp_path: Path) -> None:
    source = started(tmp_path, command=("no-such-probe",))
    assert (reading(source).why or "").startswith("no-such-probe cannot be started")


def test_a_command_is_started_anew_every_so_often(tmp_path: Path) -> None:
    count = (
        "n = open('n', 'a+'); n.write('x'); n.seek(0);"
        "print('room.temperature', 20 + len(n.read()), 'C')"
    )
    source = started(tmp_path, command=python(count), every_s=0.2)
    assert eventually(lambda: (reading(source).value or 0) >= 23.0)  # type: ignore[operator]


def test_a_command_that_hangs_is_ended_with_all_it_started(tmp_path: Path) -> None:
    hang = (
        "import os, subprocess, sys, time;"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)']);"
        "open('child', 'w').write(str(child.pid)); time.sleep(60)"
    )
    source = started(tmp_path, command=python(hang), every_s=60.0, time_limit_s=0.5)
    assert reading(source).why == "its command did not end within 0.5 s"
    child = int((tmp_path / "child").read_text())
    assert eventually(lambda: child not in all_processes() or all_processes()[child].is_over)


def test_a_command_that_prints_without_end_is_ended(tmp_path: Path) -> None:
    flood = "while True: print('room.temperature 22 C')"
    source = started(tmp_path, command=python(flood), every_s=60.0, time_limit_s=30.0)
    assert reading(source).why == "its command printed more than 64 KiB"


def test_its_standard_input_is_closed(tmp_path: Path) -> None:
    ask = "import sys; print('room.temperature', 20 + len(sys.stdin.read()), 'C')"
    source = started(tmp_path, command=python(ask), every_s=60.0)
    assert reading(source).value == 20.0


class _Answers(http.server.BaseHTTPRequestHandler):
    """Answers by path."""

    def do_GET(self) -> None:
        status, body = {
            "/readings": (200, '{"room.temperature": {"value": 23.5, "unit": "°C"}}'),
            "/much": (200, "x" * 100_000),
            "/away": (302, ""),
        }.get(self.path, (404, ""))
        data = body.encode()
        self.send_response(status)
        self.send_header("Content-Length", str(len(data)))
        if status == 302:
            self.send_header("Location", "/readings")
        self.end_headers()
        self.wfile.write(data)

    def log_message(self, format: str, *args: object) -> None:
        pass


@pytest.fixture
def address() -> Iterator[str]:
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Answers) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()


def test_an_address_of_this_machine_is_read(tmp_path: Path, address: str) -> None:
    source = started(tmp_path, url=f"{address}/readings", every_s=1.0)
    assert reading(source).value == 23.5


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("/much", "the answer has more than 64 KiB"),
        ("/none", "status 404"),
        ("/away", "status 302"),
    ],
)
def test_an_answer_that_is_none_says_why(tmp_path: Path, address: str, path: str, why: str) -> None:
    source = started(tmp_path, url=f"{address}{path}", every_s=60.0)
    assert reading(source).why == f"{address}{path} cannot be read: {why}"


def test_nothing_is_left_of_a_runner_that_was_killed(tmp_path: Path) -> None:
    """The feeder's input closes with the runner, however it ended."""
    (tmp_path / "probe.py").write_text(KEPT)
    text = (
        "import sys, time; from pathlib import Path;"
        "from harness.rig.sensors.outside import outside_sources;"
        "from harness.rig.sensors.outside_settings import Outside;"
        "from tests.end_to_end.test_outside_sensors import ROOM;"
        f"o = Outside(readings=ROOM, command=({sys.executable!r}, 'probe.py'));"
        f"s = outside_sources([o], folder=Path({str(tmp_path)!r}), pause=time.sleep);"
        "print('up', flush=True); time.sleep(60)"
    )
    root = Path(__file__).parents[2]
    with subprocess.Popen([sys.executable, "-c", text], stdout=subprocess.PIPE, cwd=root) as runner:
        assert runner.stdout is not None
        assert runner.stdout.readline() == b"up\n"
        pid = int((tmp_path / "probe.pid").read_text())
        os.kill(runner.pid, 9)
    assert eventually(lambda: pid not in all_processes() or all_processes()[pid].is_over)


def test_a_run_may_gate_and_guard_on_the_labs_own_readings(tmp_path: Path) -> None:
    """The sensors start processes during the pass; none of them is taken for the title's."""
    speaks = "while True: print('pump.speed 1850 rpm', flush=True); time.sleep(0.2)"
    rig, title = tmp_path / "rig", tmp_path / "title.py"
    rig.mkdir()
    (rig / "probe.py").write_text(f"import time\n{speaks}\n")
    (rig / "room.py").write_text("print('room.temperature 22.5 C')\n")
    (rig / "rig.yaml").write_text(
        f"sensors:\n"
        f"  - {{command: [{sys.executable}, probe.py], readings: {{pump.speed: rpm}}}}\n"
        f"  - command: [{sys.executable}, room.py]\n"
        f"    every: 1 s\n    readings: {{room.temperature: °C}}\n",
        encoding="utf-8",
    )
    title.write_text(
        "import sys, time\ntime.sleep(3)\n"
        "open(sys.argv[1], 'w').write('frame_ms\\n' + '10.0\\n' * 300)\n"
    )
    (tmp_path / "plan.yaml").write_text(
        f"""
plan: pumped
settings: {{fhd: {{size: small}}}}
titles:
  - title: Copper Fen
    scene: causeway
    settings: [fhd]
    command: ["{{python}}", {title}, "{{captures}}/f.csv"]
    time_limit: 30 s
    frames: {{file: f.csv, column: frame_ms, unit: ms}}
passes: {{warm_up: 0, keep: 1, at_most: 1}}
gates: [{{reading: pump.speed, at_least: 1500 rpm, for: 1 s, give_up: 20 s, then: hold}}]
guards: [{{reading: room.temperature, at_most: 30 °C, share: 5 %}}]
limits: none
""",
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, "-m", "harness", "run", str(tmp_path / "plan.yaml")],
        cwd=Path(__file__).parents[2],
        env={
            **os.environ,
            "HARNESS_RIG": str(rig),
            "HARNESS_STORE": str(tmp_path / "store"),
        },
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
