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


def test_a_second_column_of_kinds_is_settled_by_where(read: Any) -> None:
    rows = "".join(f"shown,{place % 2},{16 + place % 7 / 10}\n" for place in range(40))
    content = "FrameType,was_dropped,frame_ms\n" + rows
    kinds = {"kinds_column": "FrameType", "kinds": ("shown",)}
    (trouble,) = read(content, **kinds).troubles
    assert trouble.do.startswith("declare where was_dropped=KIND")
    assert read(content, **kinds, where=(("was_dropped", "0"),)).frames == 20
