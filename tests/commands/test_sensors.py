from __future__ import annotations

import argparse
import io
import json
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
    "required": ["schema", "readings"],
    "properties": {
        "schema": {"const": "harness.sensors/1"},
        "readings": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["name", "unit", "value", "why", "raw", "source"],
                "properties": {
                    "name": {"type": "string"},
                    "unit": {"type": "string"},
                    "value": {"type": ["number", "boolean", "string", "array", "null"]},
                    "why": {"type": ["string", "null"]},
                    "raw": {"type": ["string", "null"]},
                    "source": {"type": ["string", "null"]},
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
    assert "not measured: nothing on this rig reads it" in by_name["gpu.link.errors"]


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


def test_watching_is_refused_clearly(tmp_path: Path) -> None:
    with pytest.raises(AskedError, match="not-built-yet"):
        _run(tmp_path, "--watch")
