"""Readings on a screen: whatever its size, nothing is wider, and no number is cut unseen."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.readings import Reading, measured, not_measured
from harness.rig.sensors.sensors import Line
from harness.views.readings import Seen, as_lines, as_screen, as_table, plain_reading

AT = datetime(2026, 11, 25, 4, 36, 6, tzinfo=UTC)
CARD = "Heron 700, GPU-1f0c, 0000:0a:00.0"


def line(reading: Reading, where: str = "NVML", identity: str = CARD) -> Line:
    return Line(reading=reading, where=where, identity=identity)


def looked(*temperatures: float | None) -> Seen:
    seen = Seen()
    for value in temperatures:
        reading = (
            not_measured("gpu.temperature", "the card is lost")
            if value is None
            else measured("gpu.temperature", value)
        )
        seen.look([line(reading), line(measured("os.build", "A long name " * 9), "uname", "")])
    return seen


def screen(seen: Seen, columns: int = 100, rows: int = 24) -> list[str]:
    return list(as_screen(seen, columns=columns, rows=rows, since="3 s", colour=False))


def test_the_screen_shows_now_least_and_most() -> None:
    (row,) = [row for row in screen(looked(61.0, 58.5, 63.0, 62.0)) if "gpu.temp" in row]
    assert row.split() == ["gpu.temperature", "62", "°C", "58.5", "63", "NVML", "[1]"]


def test_what_is_not_measured_moves_neither_least_nor_most() -> None:
    seen = looked(61.0, None, 62.0)
    assert (seen.least["gpu.temperature"], seen.most["gpu.temperature"]) == (61.0, 62.0)


def test_what_is_not_measured_is_counted() -> None:
    assert "1 not measured: harness sensors says why." in screen(looked(61.0, None))[-1]


@given(
    st.integers(1, 200),
    st.integers(1, 60),
    st.lists(st.floats(1, 120) | st.none(), min_size=1, max_size=5),
)
def test_nothing_is_wider_or_taller_than_the_window(
    columns: int, rows: int, values: list[float | None]
) -> None:
    lines = screen(looked(*values), columns, rows)
    assert all(len(text) <= columns for text in lines)
    assert len(lines) < rows or rows < 4


@pytest.mark.parametrize("columns", [30, 40, 55, 80, 120])
def test_a_value_is_whole_or_marked_as_cut(columns: int) -> None:
    for text in screen(looked(61.25), columns):
        if text.startswith("gpu.temperature"):
            assert "61.25 °C" in text


def test_readings_that_do_not_fit_are_counted() -> None:
    seen = Seen()
    seen.look([line(measured("gpu.load", 1.0))] * 30)
    lines = screen(seen, rows=10)
    assert len(lines) < 10
    assert lines[-1].startswith(f"{30 - (len(lines) - 3)} more in a taller window.")


def test_colour_is_only_bold_and_dim() -> None:
    plain = as_screen(looked(61.0), columns=80, rows=24, since="3 s", colour=False)
    coloured = as_screen(looked(61.0), columns=80, rows=24, since="3 s", colour=True)
    assert not any("\x1b" in text for text in plain)
    assert coloured[0] == f"\x1b[1m{plain[0]}\x1b[0m"


def test_lines_carry_their_instant_and_reasons_come_once() -> None:
    lost = [line(not_measured("gpu.temperature", "the card is lost"))]
    there = [line(measured("gpu.temperature", 61.0))]
    assert as_lines([], there, at=AT) == ("2026-11-25T04:36:06Z  gpu.temperature  61 °C",)
    assert as_lines(there, lost, at=AT) == (
        "2026-11-25T04:36:06Z  gpu.temperature  not measured: the card is lost",
    )
    assert as_lines(lost, lost, at=AT) == ()


def test_a_device_is_named_below_the_table_once() -> None:
    text = as_table([line(measured("gpu.load", 97.0)), line(measured("gpu.clock", 2520.0))])
    assert text.splitlines() == [
        "gpu.load   97 %      NVML [1]",
        "gpu.clock  2520 MHz  NVML [1]",
        "",
        f"[1] {CARD}",
    ]


def test_the_raw_reasons_stand_beside_a_flag() -> None:
    flag = measured("gpu.limited.power", True, raw="0x4 SwPowerCap")
    assert "true (0x4 SwPowerCap)" in as_table([line(flag)])
    assert plain_reading(line(flag))["raw"] == "0x4 SwPowerCap"
    assert plain_reading(line(flag))["device"] == CARD
