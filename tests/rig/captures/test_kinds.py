"""Every kind of capture gets its verdict, whichever way it is read."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest

from harness.rig.captures.gather import Capture
from harness.rules.figures import figures
from harness.rules.flags import flags


def _kinds() -> Any:
    # Test folders are no packages, so the table beside this file is loaded by its place.
    spec = importlib.util.spec_from_file_location("kinds", Path(__file__).with_name("kinds.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.KINDS


KINDS: dict[str, tuple[str | bytes, dict[str, Any], int | str]] = _kinds()


def seen(capture: Capture) -> dict[str, Any]:
    """Return all that a capture says, to the last digit."""
    times = capture.times
    return {
        "troubles": [(each.code, each.what, each.line) for each in capture.troubles],
        "notes": capture.notes,
        "figures": times and [(each.name, each.value) for each in figures(times)],
        "flags": times and [(flag.name, flag.what, flag.where) for flag in flags(times)],
        "total": times and times.total_ms.hex(),
    }


@pytest.mark.parametrize("name", KINDS)
def test_each_kind_gets_its_verdict(name: str, read: Any) -> None:
    content, options, expected = KINDS[name]
    capture = read(content, **options)
    found = capture.troubles[0].code if capture.troubles else capture.frames
    assert found == expected, capture.troubles


@pytest.mark.parametrize("name", KINDS)
def test_pieces_leave_no_trace(name: str, read: Any, small_pieces: None) -> None:
    del small_pieces
    content, options, expected = KINDS[name]
    capture = read(content, **options)
    found = capture.troubles[0].code if capture.troubles else capture.frames
    assert found == expected, capture.troubles


@pytest.mark.parametrize("name", KINDS)
def test_pyarrow_makes_no_difference_in_one_piece(name: str, read: Any) -> None:
    content, options, _ = KINDS[name]
    assert seen(read(content, way=True, **options)) == seen(read(content, **options))


@pytest.mark.parametrize("name", KINDS)
def test_pyarrow_makes_no_difference_in_pieces(name: str, read: Any, small_pieces: None) -> None:
    del small_pieces
    content, options, _ = KINDS[name]
    assert seen(read(content, way=True, **options)) == seen(read(content, **options))


@pytest.mark.parametrize("way", [False, True])
def test_a_number_that_goes_round_counts_no_frames(way: bool, read: Any) -> None:
    rows = "".join(f"{place % 3},{16 + place % 7 / 10}\n" for place in range(40))
    capture = read("frame_index,frame_ms\n" + rows, way=way)
    assert (capture.troubles, capture.frames) == ((), 40)


def test_what_was_not_taken_for_a_count_of_frames_is_noted(read: Any) -> None:
    rows = "".join(f"{place % 30},{16 + place % 7 / 10}\n" for place in range(120))
    capture = read("seq,frame_ms\n" + rows)
    assert capture.notes == (
        "column 'seq' does not count up in every row, and was not taken for a count of the frames",
    )
    assert not capture.times.counted


def test_a_clean_counter_tells_of_no_loss_whatever_stands_beside_it(read: Any) -> None:
    rows = "".join(f"{place},{place - place // 9},16.5\n" for place in range(60))
    capture = read("frame,present id,frame_ms\n" + rows)
    assert capture.times.counted


@pytest.mark.parametrize(
    ("column", "way_out"),
    [("frame,frame_no", True), ("frame_ns,frame_no", False)],
)
def test_where_several_columns_count_one_may_be_declared(
    column: str, way_out: bool, read: Any
) -> None:
    rows = "".join(f"{place},{place + (place > 30)},16.{place % 7}\n" for place in range(60))
    content = f"{column},frame_ms\n" + rows
    (trouble,) = read(content).troubles
    assert trouble.code == "frames-lost"
    said = "; or declare the column that counts the frames as counter"
    assert trouble.do.endswith(said) == way_out
    assert not way_out or read(content, counter="frame").frames == 60


def test_a_second_column_of_kinds_is_settled_by_where(read: Any) -> None:
    rows = "".join(f"shown,{place % 2},{16 + place % 7 / 10}\n" for place in range(40))
    content = "FrameType,was_dropped,frame_ms\n" + rows
    kinds = {"kinds_column": "FrameType", "kinds": ("shown",)}
    (trouble,) = read(content, **kinds).troubles
    assert trouble.do.startswith("declare where was_dropped=KIND")
    assert read(content, **kinds, where=(("was_dropped", "0"),)).frames == 20
