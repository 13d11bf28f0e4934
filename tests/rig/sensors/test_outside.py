"""The lab's own sensors as a source: by a board that is written by hand, no process."""

from __future__ import annotations

import pytest

from harness.rig.quantities import Form
from harness.rig.sensors.board import Board
from harness.rig.sensors.outside import OutsideSource
from harness.rig.sensors.outside_lines import Declared, Said, said
from harness.rig.sensors.outside_settings import Outside

OUTSIDE = Outside(
    command=("room-probe", "--every", "1"),
    readings=(
        Declared(name="room.temperature", unit="°C", form=Form.NUMBER),
        Declared(name="pump.speed", unit="rpm", form=Form.NUMBER),
    ),
    stale_after_s=5.0,
)


def written(**lines: tuple[float, str]) -> Board:
    board = Board()
    for name, (at_s, rest) in lines.items():
        board.put(Said(name=name.replace("_", "."), rest=rest, line=3), at_s=at_s)
    return board


def test_the_last_line_of_each_reading_is_taken() -> None:
    board = written(room_temperature=(10.0, "22.4 °C"), pump_speed=(9.0, "1850 rpm"))
    source = OutsideSource(OUTSIDE, lambda: board)
    readings = source.read(11.0)
    assert (readings["room.temperature"].value, readings["pump.speed"].value) == (22.4, 1850.0)
    assert source.where == "room-probe --every 1"


def test_a_line_that_is_too_old_is_not_measured_and_says_its_age() -> None:
    board = written(room_temperature=(10.0, "22.4 °C"))
    reading = OutsideSource(OUTSIDE, lambda: board).read(52.0)["room.temperature"]
    assert reading.why == "stale: its last line is 42 s old"
    assert reading.raw == "22.4 °C"


def test_a_line_is_young_enough_up_to_its_bound() -> None:
    board = written(room_temperature=(10.0, "22.4 °C"))
    source = OutsideSource(OUTSIDE, lambda: board)
    assert source.read(15.0)["room.temperature"].value == 22.4
    assert source.read(15.01)["room.temperature"].value is None


def test_why_nothing_comes_is_told() -> None:
    board = written(room_temperature=(10.0, "22.4 °C"))
    board.trouble = "its command ended with status 3, saying: no probe"
    readings = OutsideSource(OUTSIDE, lambda: board).read(52.0)
    assert readings["pump.speed"].why == board.trouble
    assert readings["room.temperature"].why == f"stale: its last line is 42 s old; {board.trouble}"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("pump.speed=1850 rpm", "pump.speed=1850 rpm"),
        ("Fan.Speed 900 rpm\nPump 1850 rpm", "Pump 1850 rpm"),
        ("Pump.Speed 1850 rpm\nFan.Speed 900 rpm", "Pump.Speed 1850 rpm"),
        ("pump.speed: 1850 rpm", "pump.speed: 1850 rpm"),
    ],
)
def test_a_line_that_fits_no_reading_is_shown_where_one_is_missed(text: str, shown: str) -> None:
    board = Board()
    for each in said(text):
        board.put(each, at_s=10.0)
    reading = OutsideSource(OUTSIDE, lambda: board).read(11.0)["pump.speed"]
    assert reading.why == (
        f"it has said nothing of it yet; its last line that fits no reading is '{shown}'"
    )


def test_one_line_that_does_not_fit_costs_one_reading() -> None:
    board = written(room_temperature=(10.0, "72 F"), pump_speed=(10.0, "1850 rpm"))
    readings = OutsideSource(OUTSIDE, lambda: board).read(11.0)
    assert readings["pump.speed"].value == 1850.0
    assert readings["room.temperature"].why == "has the unknown unit 'F', write °C"
    assert readings["room.temperature"].raw == "line 3: room.temperature 72 F"


def test_a_board_that_is_being_written_is_the_one_before() -> None:
    boards = iter([written(room_temperature=(10.0, "22.4 °C")), None, None])
    source = OutsideSource(OUTSIDE, lambda: next(boards))
    source.read(11.0)
    assert source.read(12.0)["room.temperature"].value == 22.4


def test_what_nobody_declared_is_named() -> None:
    board = written(room_temperature=(10.0, "22.4 °C"), pump_flow=(10.0, "3 l/min"))
    source = OutsideSource(OUTSIDE, lambda: board)
    source.read(11.0)
    assert source.notes == ("room-probe --every 1 also says pump.flow: not declared in rig.yaml",)
