"""What the lab's own sensors print: every line is a reading, or says why it is none."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.rig.quantities import Form
from harness.rig.sensors.outside_lines import Declared, Said, reading_of, said

ROOM = Declared(name="room.temperature", unit="°C", form=Form.NUMBER)
PUMP = Declared(name="pump.speed", unit="rpm", form=Form.NUMBER)
CLOCK = Declared(name="gpu.clock", unit="MHz", form=Form.NUMBER)
RUNNING = Declared(name="pump.running", unit="", form=Form.FLAG)
STARTS = Declared(name="pump.starts", unit="", form=Form.COUNT)
MODE = Declared(name="fan.mode", unit="", form=Form.TEXT)
DISKS = Declared(name="disks", unit="", form=Form.NAMES)


def read(declared: Declared, rest: str) -> object:
    return reading_of(declared, Said(name=declared.name, rest=rest, line=1)).value


def why(declared: Declared, rest: str) -> str:
    reading = reading_of(declared, Said(name=declared.name, rest=rest, line=7))
    assert reading.value is None
    assert reading.why is not None
    assert reading.raw == f"line 7: {declared.name} {rest}".rstrip()
    return reading.why


def test_lines_are_taken_in_their_order_and_silence_is_none() -> None:
    text = (
        "\n# a probe\nroom.temperature 22.4 °C\n  pump.speed   1850 rpm\nroom.temperature 22.5 °C"
    )
    assert list(said(text)) == [
        Said(name="room.temperature", rest="22.4 °C", line=3),
        Said(name="pump.speed", rest="1850 rpm", line=4),
        Said(name="room.temperature", rest="22.5 °C", line=5),
    ]


def test_a_tab_parts_name_value_and_unit_as_a_blank_does() -> None:
    assert list(said("pump.speed\t1850\trpm")) == [Said(name="pump.speed", rest="1850 rpm", line=1)]


@pytest.mark.parametrize(
    ("value", "rest"),
    [
        ('"22.4 °C"', "22.4 °C"),
        ('{"value": 22.4, "unit": "°C"}', "22.4 °C"),
        ('{"value": "22.4", "unit": "°C"}', "22.4 °C"),
        ('{"value": 22.4}', "22.4"),
        ("22.40", "22.40"),  # as it was written
        ("2.24e1", "22.4"),
        ("true", "true"),
        ("null", ""),
        ("[1, 2]", ""),
        ("NaN", "NaN"),
    ],
)
def test_an_object_says_the_same_as_lines(value: str, rest: str) -> None:
    for text in (f'{{"room.temperature": {value}}}', f'{{\n"room.temperature":\n{value}}}'):
        assert list(said(text)) == [Said(name="room.temperature", rest=rest, line=1)]


def test_what_is_no_object_is_no_reading_and_costs_no_other() -> None:
    found = list(said('{"room.temperature": 22\nroom.temperature 22 °C'))
    assert [each.rest for each in found][-1] in ("", "22 °C")
    found = list(said('{"broken\npump.speed 1850 rpm'))
    assert all(not each.rest or each.name == "pump.speed" for each in found)


@given(st.text())
def test_no_text_breaks_it(text: str) -> None:
    for found in said(text):
        for declared in (ROOM, RUNNING, STARTS, MODE, DISKS):
            reading = reading_of(declared, found)
            assert (reading.value is None) != (reading.why is None)


@given(st.floats(-90, 200).map(lambda x: round(x, 3)), st.booleans())
def test_a_number_comes_back_as_it_was_printed(value: float, as_object: bool) -> None:
    rest = f"{value:.3f} °C"
    text = json.dumps({"probe.t": rest}) if as_object else f"probe.t {rest}"
    (found,) = said(text)
    declared = Declared(name="probe.t", unit="°C", form=Form.NUMBER)
    reading = reading_of(declared, found)
    # 0 and -1 °C are what sensors say that have nothing to say.
    assert reading.value == float(f"{value:.3f}") or "nothing to say" in (reading.why or "")


def test_units_are_converted_within_their_family() -> None:
    assert read(CLOCK, "2.52 GHz") == 2520.0
    assert read(ROOM, "22.4 C") == 22.4
    assert read(PUMP, "1850 rpm") == 1850.0


@pytest.mark.parametrize(
    ("declared", "rest", "words"),
    [
        (ROOM, "22.4", "needs a unit"),
        (ROOM, "72.3 F", "has the unknown unit 'F', write °C"),
        (ROOM, "22,4 °C", "is not a number: '22,4'"),
        (ROOM, "N/A", "is not a quantity"),
        (ROOM, "", "is not a quantity"),
        (ROOM, "127.5 °C", "implausible"),
        (PUMP, "1850 W", "has the unknown unit 'W', write rpm"),
        (STARTS, "4 rpm", "has no unit"),
        (STARTS, "15.5", "is a count, and '15.5' is no whole number"),
        (RUNNING, "yes", "must be true or false, not 'yes'"),
        (MODE, "", "stands alone"),
        (DISKS, " , ", "stands alone"),
    ],
)
def test_what_does_not_fit_is_not_measured_and_says_line_and_reason(
    declared: Declared, rest: str, words: str
) -> None:
    assert words in why(declared, rest)


def test_flags_counts_texts_and_lists() -> None:
    assert read(RUNNING, "true") is True
    assert read(RUNNING, "false") is False
    assert read(STARTS, "4") == 4.0
    assert read(MODE, "quiet, since noon") == "quiet, since noon"
    assert read(DISKS, "LAB-1T, LAB-2T") == ("LAB-1T", "LAB-2T")
