"""The title for a card: its frames by a card that is played, its refusals for real."""

from __future__ import annotations

import csv
import itertools
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import gpu_title

SCRIPT = Path(gpu_title.__file__)


class PlayedEngine:
    """A card whose frames take as long as the slower of work and copy; time is its own."""

    library, card = "played 1", "Heron 700 GPU-1f0c"

    def __init__(self) -> None:
        self.now_ns, self.begun, self.done = 0, 0, 0
        self.work_ns = self.copy_ns = 0

    def load(self, *, side: int, products: int, moved_bytes: int, half: bool) -> None:
        self.work_ns = products * side**3 // 100
        self.copy_ns = moved_bytes // 50  # 50 GB/s

    def frame(self) -> None:
        self.begun += 1
        self.due_ns = self.now_ns + max(self.work_ns, self.copy_ns)

    def copy(self) -> None:
        self.begun += 1
        self.due_ns = self.now_ns + self.copy_ns

    def finish(self) -> None:
        assert self.begun == self.done + 1, "a frame is waited for before the next begins"
        self.done, self.now_ns = self.begun, self.due_ns


def played(side: int, moved_bytes: int) -> PlayedEngine:
    engine = PlayedEngine()
    engine.load(side=side, products=1, moved_bytes=moved_bytes, half=False)
    return engine


def test_frames_add_up_to_the_time_they_took() -> None:
    engine = played(1000, 4_000_000)
    frames_ns = gpu_title.timed(engine.frame, engine, least_s=1.0, now_ns=lambda: engine.now_ns)
    untimed_ns = gpu_title.UNTIMED_FRAMES * engine.work_ns
    assert sum(frames_ns) == engine.now_ns - untimed_ns
    assert sum(frames_ns) >= 1e9 > sum(frames_ns[:-1])


def test_with_many_megabytes_the_small_sizes_meet_at_one_rate() -> None:
    def frame_ns(side: int, moved_bytes: int) -> int:
        engine = played(side, moved_bytes)
        return gpu_title.timed(engine.frame, engine, least_s=0.5, now_ns=lambda: engine.now_ns)[0]

    many, few = 268_435_456, 4_194_304
    assert frame_ns(256, many) == frame_ns(512, many) == many // 50
    assert frame_ns(256, few) < frame_ns(512, few)
    assert frame_ns(2048, many) == frame_ns(2048, few)


def test_the_rate_of_copies_is_bytes_over_time() -> None:
    engine = played(64, 268_435_456)
    copies_ns = gpu_title.timed(engine.copy, engine, least_s=0.5, now_ns=lambda: engine.now_ns)
    found = json.loads(gpu_title.rate_as_json(engine, copies_ns, moved_bytes=268_435_456))
    assert found["median_gigabytes_per_s"] == pytest.approx(50.0, rel=1e-6)
    assert found["copies"] * found["copy_bytes"] == pytest.approx(50e9 * found["seconds"])
    assert (found["direction"], found["memory"]) == ("host to device", "pinned")


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> PlayedEngine:
    engine = PlayedEngine()
    clock: Callable[[], int] = lambda: engine.now_ns  # noqa: E731
    monkeypatch.setattr(gpu_title, "engine_of", lambda library: engine)
    timed = gpu_title.timed
    monkeypatch.setattr(
        gpu_title,
        "timed",
        lambda step, e, least_s: timed(step, e, least_s=least_s, now_ns=clock),
    )
    return engine


def test_the_log_has_a_header_and_a_line_for_every_frame(
    tmp_path: Path, engine: PlayedEngine
) -> None:
    log = tmp_path / "frames.csv"
    asked = ["--size", "1024", "--seconds", "0.5", "--log", str(log)]
    assert gpu_title.main(asked) == 0
    rows = list(csv.reader(log.read_text(encoding="ascii").splitlines()))
    assert rows[0] == ["frame", "frame_ms", "ended_ms"]
    assert [int(row[0]) for row in rows[1:]] == list(range(1, len(rows)))
    assert float(rows[1][1]) == pytest.approx(1024**3 / 100 / 1e6)


def test_the_instants_of_the_log_are_the_sums_of_its_times(
    tmp_path: Path, engine: PlayedEngine
) -> None:
    log = tmp_path / "frames.csv"
    gpu_title.main(["--size", "1024", "--seconds", "0.5", "--log", str(log)])
    rows = list(csv.DictReader(log.read_text(encoding="ascii").splitlines()))
    ended = [float(row["ended_ms"]) for row in rows]
    apart = [later - earlier for earlier, later in itertools.pairwise(ended)]
    assert apart == pytest.approx([float(row["frame_ms"]) for row in rows[1:]], abs=1e-5)


def test_few_and_many_move_as_many_as_the_plan_says(
    engine: PlayedEngine, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--few-mib", "2", "--many-mib", "100", "--seconds", "0.1", "--moves"]
    gpu_title.main([*words, "few"])
    assert engine.copy_ns == 2 * 2**20 // 50
    gpu_title.main([*words, "many"])
    assert engine.copy_ns == 100 * 2**20 // 50
    assert "100 MiB a frame" in capsys.readouterr().out


def test_the_rate_is_printed_by_itself(
    engine: PlayedEngine, capsys: pytest.CaptureFixture[str]
) -> None:
    assert gpu_title.main(["--copy-rate", "--seconds", "0.1"]) == 0
    assert json.loads(capsys.readouterr().out)["card"] == "Heron 700 GPU-1f0c"


def test_without_a_library_it_says_one_sentence_and_leaves_with_3() -> None:
    hidden = "import sys; sys.modules['torch'] = sys.modules['cupy'] = None"
    here = f"sys.path.insert(0, {str(SCRIPT.parent)!r})"
    code = f"{hidden}; {here}; import gpu_title; sys.exit(gpu_title.main([]))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert done.stdout == ""
    assert done.stderr.startswith("gpu_title: nothing to compute with (torch cannot be imported")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "asked", [["--size", "3"], ["--seconds", "nan"], ["--moves", "some"], ["--many-mib", "0"]]
)
def test_a_wrong_argument_is_refused(asked: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        gpu_title.main(asked)
    assert left.value.code == 2
