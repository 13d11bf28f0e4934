"""The meter: what a pass left becomes figures, or one fault; never an exception."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from harness.plan.document import Better, Command, Cut, FigureFrom, FigureSpec, Frames, Title
from harness.rig.tasks import CommandEnd, EndedBy, PassReport, PassTask
from harness.rules import finding
from harness.rules.judgement import Measured
from harness.rules.meter import measure

FRAMES = Frames(file="frames.csv", column="frame_ms", unit="ms")
COMMAND = Command(argv=("lantern-quay",), time_limit_s=60.0)


def spec(source: FigureFrom, **options: Any) -> FigureSpec:
    return FigureSpec(name="score", source=source, better=Better.HIGHER, **options)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "captures").mkdir()
    (tmp_path / "output").mkdir()
    write(tmp_path, [16.0 + (place % 7) * 0.1 for place in range(400)])
    return tmp_path


def write(folder: Path, values: list[float]) -> None:
    rows = [f"{number},{value:.3f}" for number, value in enumerate(values, start=1)]
    (folder / "captures" / "frames.csv").write_text("frame_no,frame_ms\n" + "\n".join(rows) + "\n")


def measured(
    folder: Path | None,
    *,
    frames: Frames | None = FRAMES,
    cut: Cut | None = None,
    figures: tuple[FigureSpec, ...] = (),
    wall_s: float = 8.0,
    made_ns: int | None = None,
) -> Measured:
    title = Title(
        title="Lantern Quay",
        scene="harbour loop",
        settings=("fhd",),
        command=COMMAND,
        frames=frames,
        cut=cut or Cut(),
        figures=figures,
    )
    task = PassTask.__new__(PassTask)
    object.__setattr__(task, "title", title)
    end = CommandEnd(argv=("lantern-quay",), by=EndedBy.EXIT, wall_s=wall_s, status=0)
    return measure(task, PassReport(end=end, folder=folder, folder_made_ns=made_ns))


def test_a_sound_capture_becomes_figures(folder: Path) -> None:
    found = measured(folder)
    assert (found.problem, found.fault, found.frames) == (None, None, 400)
    average = found.figure("average_fps")
    assert average is not None
    assert average.definition == "frames-over-time/1"
    assert average.value == pytest.approx(1000.0 / 16.3, rel=1e-2)


def test_a_capture_that_is_not_there_names_what_is(folder: Path) -> None:
    (folder / "captures" / "frames.csv").rename(folder / "captures" / "frame.csv")
    found = measured(folder)
    assert found.fault == "no-capture"
    assert "frame.csv" in str(found.problem)
    assert found.figures == ()


def test_an_empty_folder_says_so(folder: Path) -> None:
    (folder / "captures" / "frames.csv").unlink()
    assert "no file at all" in str(measured(folder).problem)


def test_an_empty_file_is_no_capture(folder: Path) -> None:
    (folder / "captures" / "frames.csv").write_bytes(b"")
    found = measured(folder)
    assert (found.fault, "0 bytes" in str(found.problem)) == ("no-capture", True)


def test_last_weeks_file_is_stale(folder: Path) -> None:
    path = folder / "captures" / "frames.csv"
    made_ns = path.stat().st_mtime_ns
    os.utime(path, ns=(made_ns, made_ns - 3_000_000_000))
    found = measured(folder, made_ns=made_ns)
    assert found.fault == "stale-capture"
    assert "3 s before" in str(found.problem)


def test_a_file_as_old_as_the_attempt_is_fresh(folder: Path) -> None:
    path = folder / "captures" / "frames.csv"
    assert measured(folder, made_ns=path.stat().st_mtime_ns).fault is None


@pytest.mark.parametrize("name", ["../frames.csv", "/etc/hostname", "."])
def test_a_file_outside_the_folder_is_no_capture(folder: Path, name: str) -> None:
    write(folder, [16.0, 17.0])
    found = measured(folder, frames=replace(FRAMES, file=name))
    assert (found.fault, "outside" in str(found.problem)) == ("no-capture", True)


def test_a_link_is_no_capture(folder: Path) -> None:
    (folder / "captures" / "frames.csv").rename(folder / "captures" / "real.csv")
    (folder / "captures" / "frames.csv").symlink_to("real.csv")
    assert measured(folder).fault == "no-capture"


def test_a_capture_that_cannot_be_read_says_line_and_code(folder: Path) -> None:
    path = folder / "captures" / "frames.csv"
    path.write_text(path.read_text().replace("\n20,", "\n20,1,", 1))
    found = measured(folder)
    assert found.fault == "unreadable-capture"
    assert "frames.csv:21" in str(found.problem)
    assert "row-width" in str(found.problem)


def test_a_capture_cut_off_keeps_its_count(folder: Path) -> None:
    path = folder / "captures" / "frames.csv"
    path.write_text(path.read_text()[:-3])
    found = measured(folder)
    assert (found.fault, found.frames, found.figures) == ("unreadable-capture", 399, ())


def test_frames_longer_than_the_command_ran_are_not_believed(folder: Path) -> None:
    found = measured(folder, wall_s=0.6)
    assert found.fault == "unreadable-capture"
    assert "6.5" in str(found.problem)
    assert "0.6 s" in str(found.problem)
    assert "factor" in str(found.problem)


def test_a_cut_measures_the_part_and_no_more(folder: Path) -> None:
    write(folder, [10.0] * 100 + [20.0] * 100 + [5.0] * 100)
    found = measured(folder, cut=Cut(from_s=1.0, length_s=2.0, tolerance=0.02))
    average = found.figure("average_fps")
    assert average is not None
    assert (average.value, found.frames) == (50.0, 100)
    assert "100 frames before and 100 after" in found.notes[0]


def test_a_capture_shorter_than_its_cut_is_short(folder: Path) -> None:
    write(folder, [10.0] * 100)
    found = measured(folder, cut=Cut(length_s=2.0, tolerance=0.02))
    assert found.fault == "short-capture"
    write(folder, [10.0 + place % 3 for place in range(100)])
    assert measured(folder, cut=Cut(from_s=5.0)).fault == "short-capture"


def test_flags_are_names_and_notes_say_where(folder: Path) -> None:
    write(folder, [16.0 + place % 5 for place in range(60)] + [1500.0] + [16.0, 17.5] * 9)
    found = measured(folder)
    assert found.flags == ("gap",)
    assert any("line 62" in note for note in found.notes)


def test_wall_time_is_a_figure(folder: Path) -> None:
    found = measured(folder, frames=None, figures=(spec(FigureFrom.WALL_TIME),))
    assert [(each.value, each.unit, each.definition) for each in found.figures] == [
        (8.0, "s", "wall-time/1")
    ]


PATTERN = spec(FigureFrom.OUTPUT, pattern=r"score\s*=\s*(?P<value>[0-9.]+)")


def test_a_figure_is_found_in_output_that_is_not_text(folder: Path) -> None:
    (folder / "output" / "stdout").write_bytes(b"Caf\xe9 \x8d\x1b[2K\rscore = 71.25\n")
    found = measured(folder, frames=None, figures=(PATTERN,))
    assert [(each.value, each.definition) for each in found.figures] == [
        (71.25, "output-pattern/1")
    ]


@pytest.mark.parametrize(
    ("output", "said"),
    [
        (b"", "not found"),
        (b"score = 1.2.3\n", "not a number"),
        (b"score = 1,234.5\n", "takes '1' out of '1,234.5' in output/stdout"),
        (b"score = 1234,5\n", "takes '1234' out of '1234,5'"),
        (b"score = 1234,5\n", "write it before or behind the group"),
        (b"score = 1.5e3\n", "takes '1.5' out of '1.5e3'"),
        (b"score = 1 234\n", "takes '1' out of '1 234'"),
        (b"score = 10\nscore = 11\n", "2 different values"),
        (b"score = " + b"9" * 301 + b"\n", "1e+301 is beyond all measure"),
        (b"score = 0." + b"0" * 300 + b"1\n", "1e-301 is beyond all measure"),
    ],
)
def test_a_figure_that_is_not_measured_is_a_fault(folder: Path, output: bytes, said: str) -> None:
    (folder / "output" / "stdout").write_bytes(output)
    found = measured(folder, frames=None, figures=(PATTERN,))
    assert found.fault == "no-figure"
    assert said in str(found.problem)
    assert found.figures == ()


def test_a_pattern_that_does_not_come_back_is_a_fault(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(finding, "SEARCH_S", 0.3)
    (folder / "output" / "stdout").write_bytes(b"a" * 41 + b"b\n")
    hangs = spec(FigureFrom.OUTPUT, pattern="(?P<value>(a+)+)$")
    found = measured(folder, frames=None, figures=(hangs,))
    assert (found.fault, found.figures) == ("no-figure", ())
    assert "43 characters of output/stdout did not come back" in str(found.problem)


JSON = spec(FigureFrom.JSON, file="result.json", pointer="/summary/psnr_db", unit="dB")


def test_a_figure_is_found_in_json(folder: Path) -> None:
    (folder / "captures" / "result.json").write_text('{"summary": {"psnr_db": 41.5}}')
    found = measured(folder, frames=None, figures=(JSON,))
    assert [(each.value, each.unit) for each in found.figures] == [(41.5, "dB")]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('{"summary": {"psnr_db": "41.5"}}', "no-figure"),
        ('{"summary": {"psnr_db": true}}', "no-figure"),
        ('{"summary": {}}', "no-figure"),
        ('{"summary": {"psnr_db": 1e300}}', "no-figure"),
        ('{"summary": {"psnr_db": 1e999}}', "no-figure"),
        pytest.param('{"summary": {"psnr_db": -1' + "0" * 400 + "}}", "no-figure", id="digits"),
        ("{", "no-figure"),
        ("", "no-capture"),
    ],
)
def test_json_without_the_figure_is_a_fault(folder: Path, text: str, fault: str) -> None:
    (folder / "captures" / "result.json").write_text(text)
    assert measured(folder, frames=None, figures=(JSON,)).fault == fault


def test_frames_and_figures_stand_together(folder: Path) -> None:
    found = measured(folder, figures=(spec(FigureFrom.WALL_TIME),))
    assert found.figure("average_fps") is not None
    assert found.figure("score") is not None


def test_a_pass_without_a_folder_measured_nothing() -> None:
    assert measured(None).fault == "no-capture"


# --- what the harness cost ----------------------------------------------------------------


def why(found: Measured) -> str | None:
    assert found.harness_cost is not None
    assert found.harness_cost.cost_ms is None
    return found.harness_cost.why


def test_a_pass_that_nobody_looked_at_says_so(folder: Path) -> None:
    assert why(measured(folder)) == "0 looks at the rig in the pass, and 5 are the least"


def test_a_title_without_frames_says_so(folder: Path) -> None:
    specs = (spec(FigureFrom.WALL_TIME),)
    assert why(measured(folder, frames=None, figures=specs)) == "the title leaves no frames"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "no frames could be read"),
        ("frame_no,frame_ms\n1,16.0\n2,\n", "the capture cannot be taken"),
    ],
)
def test_a_capture_that_is_refused_has_no_cost(folder: Path, text: str, reason: str) -> None:
    (folder / "captures" / "frames.csv").write_text(text)
    found = measured(folder)
    assert found.fault is not None
    assert why(found) == reason
