"""Large captures: bounded memory, runs put away in a file, pyarrow really used."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from harness.rig.captures import arrow, spill
from harness.rig.captures.assembly import Part
from harness.rig.captures.declared import Declared
from harness.rig.captures.read import read_capture
from harness.rig.captures.table import Shape
from harness.rules.figures import figures


def rows(count: int) -> tuple[list[float], str]:
    chance = random.Random(5)
    values = [round(chance.uniform(14, 19), 3) for _ in range(count)]
    text = "".join(f"{number},{value:.3f}\n" for number, value in enumerate(values, start=1))
    return values, "frame_no,frame_ms\n" + text


def test_a_plain_piece_is_taken_apart_by_pyarrow() -> None:
    shape = Shape(delimiter=b",", names=["frame_no", "frame_ms"], time=1, header=b"", first_line=2)
    shape.counters = (0,)
    found = arrow._with_arrow(b"1,16.4\n2,16.5\n", 2, shape)
    assert found is not None
    assert list(found.times) == [16.4, 16.5]
    assert arrow._with_arrow(b"1,16.4\n2,nan\n", 2, shape) is None


@pytest.mark.parametrize("way", [False, True])
def test_runs_put_into_a_file_answer_the_same(
    way: bool, read: Any, small_pieces: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    del small_pieces
    values, text = rows(900)
    whole = [(each.name, each.value) for each in figures(read(text, way=way).times)]
    monkeypatch.setattr(spill, "HELD_FRAMES", 100)
    capture = read(text, way=way)
    assert [(each.name, each.value) for each in figures(capture.times)] == whole
    assert capture.times.runs.largest(900) == sorted(values, reverse=True)


@pytest.mark.parametrize("way", [False, True])
def test_a_part_is_cut_out_across_pieces(way: bool, read: Any, small_pieces: None) -> None:
    del small_pieces
    values, text = rows(300)
    part = Part(from_ms=1000.0, length_ms=2000.0, tolerance=0.02)
    capture = read(text, part=part, way=way)
    begins = [sum(values[:place]) for place in range(300)]
    expected = [v for v, at in zip(values, begins, strict=True) if 1000.0 <= at < 3000.0]
    assert list(capture.times.opening) == expected
    assert (capture.before_part, capture.frames) == (
        sum(at < 1000.0 for at in begins),
        len(expected),
    )
    assert capture.whole_ms == pytest.approx(sum(values))


@pytest.mark.slow
def test_a_file_of_many_pieces_is_the_same_either_way(tmp_path: Path) -> None:
    path = tmp_path / "frames.csv"
    path.write_text(rows(700_000)[1])
    ways = [
        read_capture(str(path), Declared(column="frame_ms", unit="ms"), with_pyarrow=way)
        for way in (False, True)
    ]
    for capture in ways:
        assert capture.troubles == ()
        assert capture.frames == 700_000
    plain, wide = (capture.times for capture in ways)
    assert plain is not None
    assert wide is not None
    assert plain.total_ms == wide.total_ms
    assert (plain.blocks.lows, plain.blocks.highs) == (wide.blocks.lows, wide.blocks.highs)
    assert [each.value for each in figures(plain)] == [each.value for each in figures(wide)]
