"""JSON lines: one object a frame, read as strictly as a table."""

from __future__ import annotations

import json
from typing import Any

import pytest

VALUES = [16.418, 16.141, 16.941, 16.016, 16.757, 16.485, 15.993, 16.712, 15.96, 16.594]


def lines(**more: Any) -> str:
    return "".join(
        json.dumps({"frame_no": number, "frame_ms": value, **more}) + "\n"
        for number, value in enumerate(VALUES, start=1)
    )


GOOD = lines()
NO_KEYS = '{"frame_ms": 16.5}\n'


@pytest.mark.parametrize(
    ("content", "options", "expected"),
    [
        (GOOD, {}, 10),
        (GOOD, {"column": None, "unit": None}, 10),
        (GOOD + "\n\n", {}, 10),
        (b"\xef\xbb\xbf" + GOOD.encode(), {}, 10),
        (GOOD.replace("\n", "\r\n"), {}, 10),
        (GOOD[:-1], {}, "truncated"),
        (GOOD[:-9], {}, "truncated"),
        (GOOD.replace("16.757", "NaN"), {}, "bad-cells"),
        (GOOD.replace("16.757", "null"), {}, "bad-cells"),
        (GOOD.replace("16.757", "1e999"), {}, "bad-cells"),
        (GOOD.replace('"frame_ms": 16.757', '"other": 1'), {}, "bad-cells"),
        (GOOD.replace("16.757", '"16.757"'), {}, "not-a-number"),
        (GOOD.replace("16.757", "true"), {}, "not-a-number"),
        (GOOD.replace("16.757", "-1"), {}, "negative-times"),
        (GOOD.replace("16.757", "0"), {}, "zero-times"),
        (GOOD.replace("16.757", '16.757, "frame_ms": 1'), {}, "column-twice"),
        (GOOD.replace("16.757}", "16.757"), {}, "row-width"),
        (GOOD.replace("16.757}", "16.757}, {}"), {}, "row-width"),
        (GOOD.replace('{"frame_no": 5, "frame_ms": 16.757}', "[]"), {}, "row-width"),
        (GOOD.replace('{"frame_no": 5, "frame_ms": 16.757}', ""), {}, "blank-line"),
        (GOOD.replace('"frame_no": 5', '"frame_no": 7'), {}, "frames-lost"),
        (GOOD, {"column": "wait_ms"}, "column-missing"),
        (GOOD, {"unit": "us"}, "unit-conflict"),
        (lines(program="quay") + lines(program="menu"), {}, "programs-mixed"),
        (
            lines(program="quay") + lines(program="menu"),
            {"where": (("program", "quay"),)},
            10,
        ),
        (lines(kind="real"), {"kinds_column": "kind", "kinds": ("real",)}, 10),
        (NO_KEYS + lines(program="quay") + lines(program="menu"), {}, "programs-mixed"),
        (NO_KEYS + GOOD, {}, 11),
        (NO_KEYS + GOOD.replace('"frame_no": 5', '"frame_no": 7'), {}, "frames-lost"),
        (GOOD.replace('"frame_no": 10', '"frame_no": null'), {}, "not-a-number"),
        (GOOD.replace('"frame_no": 10', '"frame_no": "x"'), {}, "not-a-number"),
        (
            GOOD.replace(": 5,", ": 5.0,").replace('"frame_no": 9', '"frame_no": 12'),
            {},
            "frames-lost",
        ),
    ],
)
def test_each_kind_of_json_lines_gets_its_verdict(
    content: str | bytes, options: dict[str, Any], expected: int | str, read: Any
) -> None:
    capture = read(content, **options)
    found = capture.troubles[0].code if capture.troubles else capture.frames
    assert found == expected, capture.troubles


def test_json_lines_in_pieces_are_the_same(read: Any, small_pieces: None) -> None:
    del small_pieces
    capture = read(GOOD)
    assert list(capture.times.opening) == VALUES
    assert capture.troubles == ()


@pytest.mark.parametrize(
    ("number", "said"),
    [
        ("1e999", "(1 infinite), the first in line 3: 'Infinity'"),
        ("-1e999", "(1 infinite), the first in line 3"),
        ("9" * 400, "(1 too large), the first in line 3"),
        ("9" * 5000, "(1 too large), the first in line 3"),
    ],
)
def test_a_number_that_no_float_holds_is_told_with_its_line(
    number: str, said: str, read: Any
) -> None:
    (trouble,) = read(GOOD.replace("16.941", number)).troubles
    assert trouble.code == "bad-cells"
    assert said in trouble.what


def test_a_key_that_comes_late_is_watched_in_pieces_too(read: Any, small_pieces: None) -> None:
    del small_pieces
    later = lines(program="menu").replace('"frame_no": ', '"frame_no": 1')
    (trouble,) = read(GOOD.replace('"frame_no": ', '"frame_no": 2') + later).troubles
    assert trouble.code == "programs-mixed"
    assert "'' 10, 'menu' 10" in trouble.what
