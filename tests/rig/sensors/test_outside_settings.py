"""``rig.yaml``: what a lab says of its own sensors, and every way to say it wrongly."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.errors import AskedError
from harness.rig.quantities import Form
from harness.rig.sensors.outside_lines import Declared
from harness.rig.sensors.outside_settings import FILE, Outside, outside_sensors


def written(folder: Path, text: str) -> Path:
    (folder / FILE).write_text(text, encoding="utf-8")
    return folder


def one(folder: Path, entry: str) -> Outside:
    (found,) = outside_sensors(written(folder, f"sensors:\n  - {entry}\n"))
    return found


def test_without_the_file_there_are_none(tmp_path: Path) -> None:
    assert outside_sensors(tmp_path) == ()
    assert outside_sensors(written(tmp_path, "")) == ()
    assert outside_sensors(written(tmp_path, "sensors: []\n")) == ()


def test_the_three_ways_to_ask(tmp_path: Path) -> None:
    text = """
sensors:
  - command: [room-probe, --every, "1"]
    readings: {room.temperature: °C}
  - command: [pump-status]
    every: 10 s
    time_limit: 3 s
    readings: {pump.speed: rpm, pump.running: true/false, pump.starts: count, pump.mode: text}
  - url: http://127.0.0.1:8085/readings?all=1
    every: 2 s
    stale_after: 20 s
    readings: {gpu.hotspot.temperature: °C}
"""
    kept, anew, url = outside_sensors(written(tmp_path, text))
    assert (kept.command, kept.every_s, kept.stale_after_s) == (
        ("room-probe", "--every", "1"),
        None,
        5.0,
    )
    assert (anew.every_s, anew.time_limit_s, anew.stale_after_s) == (10.0, 3.0, 30.0)
    assert [(each.name, each.unit, each.form) for each in anew.readings] == [
        ("pump.speed", "rpm", Form.NUMBER),
        ("pump.running", "", Form.FLAG),
        ("pump.starts", "", Form.COUNT),
        ("pump.mode", "", Form.TEXT),
    ]
    assert (url.url, url.stale_after_s) == ("http://127.0.0.1:8085/readings?all=1", 20.0)


def test_a_reading_of_ours_has_our_unit_and_form(tmp_path: Path) -> None:
    ours = "gpu.link.width: count, power.source: text, disks: list of names"
    assert one(tmp_path, f"{{command: [x], readings: {{{ours}}}}}").readings == (
        Declared(name="gpu.link.width", unit="", form=Form.COUNT),
        Declared(name="power.source", unit="", form=Form.TEXT),
        Declared(name="disks", unit="", form=Form.NAMES),
    )


@pytest.mark.parametrize(
    ("entry", "code"),
    [
        ("{readings: {room.temperature: °C}}", "one-of-two"),
        (
            "{command: [x], url: 'http://127.0.0.1/', every: 1 s, readings: {a.b: W}}",
            "one-of-two",
        ),
        ("{command: room-probe -x, readings: {a.b: W}}", "command-not-a-list"),
        ("{command: [x]}", "key-missing"),
        ("{url: 'http://127.0.0.1/', readings: {a.b: W}}", "key-missing"),
        ("{url: 'http://lab-server/x', every: 1 s, readings: {a.b: W}}", "not-this-machine"),
        ("{url: 'https://127.0.0.1/x', every: 1 s, readings: {a.b: W}}", "not-this-machine"),
        ("{url: 'http://127.0.0.1@lab/x', every: 1 s, readings: {a.b: W}}", "not-this-machine"),
        ("{url: 'http://127.0.0.1:x/', every: 1 s, readings: {a.b: W}}", "not-this-machine"),
        ("{command: [x], every: 10, readings: {a.b: W}}", "unit-needed"),
        ("{command: [x], every: 10 ms, readings: {a.b: W}}", "number-too-small"),
        ("{command: [x], time_limit: 2 s, readings: {a.b: W}}", "no-time-limit-here"),
        ("{command: [x], readings: {Pump: rpm}}", "wrong-name"),
        ("{command: [x], readings: {pump: rpm}}", "wrong-name"),
        ("{command: [x], readings: {room.temperature: F}}", "wrong-unit"),
        ("{command: [x], readings: {gpu.limited.heat: text}}", "wrong-unit"),
        ("{command: [x], reading: {a.b: W}, readings: {a.b: W}}", "unknown-key"),
    ],
)
def test_what_is_wrong_has_one_error_with_its_place(tmp_path: Path, entry: str, code: str) -> None:
    with pytest.raises(AskedError) as error:
        one(tmp_path, entry)
    assert [problem.code for problem in error.value.problems] == [code]
    place = error.value.problems[0].place
    assert place is not None
    assert (place.file, place.line) == (str(tmp_path / FILE), 2)


def test_all_problems_are_told_at_once(tmp_path: Path) -> None:
    text = (
        "sensor: []\nsensors:\n"
        "  - {command: [x], readings: {Pump: rpm}}\n  - {readings: {a.b: W}}\n"
    )
    with pytest.raises(AskedError) as error:
        outside_sensors(written(tmp_path, text))
    assert [p.code for p in error.value.problems] == ["unknown-key", "wrong-name", "one-of-two"]


def test_a_reading_is_given_by_one_sensor(tmp_path: Path) -> None:
    entry = "{command: [x], readings: {a.b: W}}"
    with pytest.raises(AskedError, match=r"a\.b is given by two sensors"):
        outside_sensors(written(tmp_path, f"sensors:\n  - {entry}\n  - {entry}\n"))


@pytest.mark.parametrize("text", ["sensors: [\n", "- a\n", "sensors: {a: 1}\n", "\ta: 1\n"])
def test_what_is_no_such_file_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(AskedError):
        outside_sensors(written(tmp_path, text))
