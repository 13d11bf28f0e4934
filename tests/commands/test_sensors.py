from __future__ import annotations

import argparse
import io
import json
import sys
from pathlib import Path

import jsonschema
import pytest

from harness.commands import sensors
from harness.errors import AskedError, Exit
from harness.rig.quantities import QUANTITIES

#: As harness/views/schemas.md describes it.
SCHEMA = {
    "type": "object",
    "additionalProperties": False,
    "required": ["schema", "at", "readings"],
    "properties": {
        "schema": {"const": "harness.sensors/1"},
        "at": {"type": "string", "format": "date-time"},
        "readings": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["name", "unit", "value", "why", "raw", "source", "device"],
                "properties": {
                    "name": {"type": "string"},
                    "unit": {"type": "string"},
                    "value": {"type": ["number", "boolean", "string", "array", "null"]},
                    "why": {"type": ["string", "null"]},
                    "raw": {"type": ["string", "null"]},
                    "source": {"type": ["string", "null"]},
                    "device": {"type": ["string", "null"]},
                },
                "oneOf": [
                    {"properties": {"value": {"type": "null"}, "why": {"type": "string"}}},
                    {"properties": {"value": {"not": {"type": "null"}}, "why": {"type": "null"}}},
                ],
            },
        },
    },
}


def _run(tmp_path: Path, *arguments: str) -> str:
    parser = argparse.ArgumentParser()
    sensors.add_arguments(parser)
    out = io.StringIO()
    assert sensors.run(parser.parse_args([*arguments, "--store", str(tmp_path)]), out) is Exit.WELL
    return out.getvalue()


def test_every_reading_has_a_line_and_none_is_zero_for_missing(tmp_path: Path) -> None:
    lines = _run(tmp_path).splitlines()
    by_name = {line.split()[0]: line for line in lines if line and not line[0].isdigit()}
    assert by_name.keys() == QUANTITIES.keys()
    assert "GiB" in by_name["memory.available"]
    assert "/proc/meminfo" in by_name["memory.available"]
    assert "not measured: nothing on this rig reads it" in by_name["room.temperature"]


def test_what_is_not_measured_is_counted(tmp_path: Path) -> None:
    lines = _run(tmp_path).splitlines()
    absent = [line for line in lines if "not measured: " in line]
    (count,) = [line for line in lines if line[:1].isdigit()]
    assert count == f"{len(QUANTITIES) - len(absent)} measured, {len(absent)} not:"


def test_the_json_is_what_its_schema_says(tmp_path: Path) -> None:
    found = json.loads(_run(tmp_path, "--json"))
    jsonschema.validate(found, SCHEMA)
    assert [each["name"] for each in found["readings"]] == list(QUANTITIES)


def test_the_load_is_measured_at_the_first_asking(tmp_path: Path) -> None:
    found = {each["name"]: each for each in json.loads(_run(tmp_path, "--json"))["readings"]}
    assert 0 <= found["cpu.load"]["value"] <= 100
    assert found["cpu.load"]["unit"] == "%"


@pytest.mark.parametrize("every", ["1", "10 ms", "2 h", "soon"])
def test_a_wrong_every_is_refused(tmp_path: Path, every: str) -> None:
    with pytest.raises(AskedError, match="--every"):
        _run(tmp_path, "--watch", "--every", every)


def test_every_without_watch_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AskedError, match="wrong-option"):
        _run(tmp_path, "--every", "1 s")


def test_a_lab_s_own_sensor_is_listed_with_what_it_says_too_much(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(tmp_path))
    says = "print('room.temperature 22.4 C'); print('pump.flow 3 W')"
    (tmp_path / "rig.yaml").write_text(
        f'sensors:\n  - {{command: [{sys.executable}, -c, "{says}"], every: 60 s, '
        "readings: {room.temperature: °C, pump.speed: rpm}}\n",
        encoding="utf-8",
    )
    out = _run(tmp_path)
    assert "room.temperature" in out
    assert "22.4 °C" in out
    assert "not measured: it has said nothing of it yet" in out
    assert out.endswith("also says pump.flow: not declared in rig.yaml\n")


def test_a_wrong_rig_file_is_refused_with_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HARNESS_RIG", str(tmp_path))
    (tmp_path / "rig.yaml").write_text("sensors: [{command: x}]\n", encoding="utf-8")
    with pytest.raises(AskedError, match=r"rig\.yaml:1:"):
        _run(tmp_path)
