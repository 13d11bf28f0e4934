from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from harness.views.page import pictures

NASTY = '<script>alert(1)</script>" onload="x'
TITLE: dict[str, Any] = {
    "title": NASTY, "unit": "fps", "fastest": "full", "levels": [
        {"level": "full", "ceiling": None, "rates": [
            {"setting": "uhd", "mean": 60.0, "n": 3}, {"setting": "fhd", "mean": 140.0, "n": 3}]},
        {"level": "half", "ceiling": {"rate": 62.0}, "rates": [
            {"setting": "fhd", "mean": 63.0, "n": 3}, {"setting": "uhd", "mean": 58.0, "n": 3}]},
    ],
}  # fmt: skip


def test_rates_stand_at_their_settings_slowest_first() -> None:
    root = ET.fromstring(pictures.ceilings(TITLE, condition="link"))
    names = [text.text for text in root.iter("text") if text.get("class") == "middle"]
    assert names == ["uhd", "fhd"]
    dots = [circle.find("title") for circle in root.iter("circle")]
    assert "link half, uhd: 58 (n 3)" in [each.text for each in dots if each is not None]
    assert root.get("aria-label") == f"{NASTY}: rates over settings, by link"
    assert not list(root.iter("script"))


def test_a_signal_is_marked_by_its_shape_and_not_by_colour_alone() -> None:
    values = [
        {"at": f"2026-11-0{n}T00:00:00", "run": "r", "value": 100.0 + n, "average": None}
        for n in range(1, 6)
    ]
    series = {
        "title": "Lantern Quay", "setting": "fhd", "rig": "a", "figure": "average_fps",
        "unit": "fps", "values": values, "changes": [],
        "limits": {"centre": 101.0, "low": 99.0, "high": 103.0},
        "signals": [{"first": 3, "last": 4}],
    }  # fmt: skip
    root = ET.fromstring(pictures.drift(series))
    assert sum(each.get("class") == "dot signal" for each in root.iter("circle")) == 2


@given(
    low=st.none() | st.floats(-2, 2),
    middle=st.floats(-2, 2),
    high=st.none() | st.floats(-2, 2),
)
def test_an_interval_stays_inside_its_picture(
    low: float | None, middle: float, high: float | None
) -> None:
    root = ET.fromstring(pictures.interval(low, middle, high, band=0.03, reach=0.5))
    at = [
        float(each.get(name, "0"))
        for each in root.iter()
        for name in ("x1", "x2", "cx")
        if each.get(name)
    ]
    assert all(0 <= x <= 200 for x in at)


def test_a_tally_has_a_stroke_for_every_pass() -> None:
    root = ET.fromstring(pictures.tally(2, 3, {"void": 1, "failed": 2}))
    assert [each.get("class") for each in root] == [
        "kept", "kept", "wanted", "void", "failed", "failed",
    ]  # fmt: skip
