"""What a real card was seen to do: the fixtures of ``tests/fixtures/cards``, read.

See the README beside them. ``scripts/card_fixture.py`` wrote them.
"""

from __future__ import annotations

import csv
import gzip
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from card_proof import REASONS, Kept, Logged
from harness.rig.readings import Reading, Sample, measured
from harness.rig.sensors.event_reasons import limited

FOLDER = Path(__file__).parent / "fixtures" / "cards" / "2026-11-25-h100"
NAMES = ("warm", "cool", "grid")

#: Reading -> the logger's field.
_LOGGED = {
    "gpu.temperature": "temperature.gpu",
    "gpu.memory.temperature": "temperature.memory",
    "gpu.clock": "clocks.current.graphics",
    "gpu.memory.clock": "clocks.current.memory",
    "gpu.power": "power.draw",
    "gpu.power.limit": "enforced.power.limit",
    "gpu.load": "utilization.gpu",
    "gpu.link.generation": "pcie.link.gen.gpucurrent",
    "gpu.link.width": "pcie.link.width.current",
}


def text(name: str) -> str:
    """Return a compressed file of the fixture."""
    return gzip.decompress((FOLDER / name).read_bytes()).decode("utf-8")


@cache
def log(name: str) -> tuple[Logged, ...]:
    """Return the logger's lines, each with its instant."""
    rows = csv.DictReader(text(f"{name}.log.csv.gz").splitlines())
    return tuple((_instant(row["timestamp"]), row) for row in rows)


@cache
def kept(name: str) -> tuple[Kept, ...]:
    """Return the samples that the harness kept, while the logger ran."""
    first, last = log(name)[0][0], log(name)[-1][0]
    found = (json.loads(line) for line in text(f"{name}.samples.jsonl.gz").splitlines())
    dated = ((datetime.fromisoformat(each["at"]), each["readings"]) for each in found)
    return tuple(each for each in dated if first < each[0] < last)


@cache
def passes(name: str) -> tuple[dict[str, Any], ...]:
    """Return how each pass was waited for and judged, in order."""
    return tuple(json.loads(line) for line in text(f"{name}.passes.jsonl.gz").splitlines())


@cache
def answers() -> dict[str, tuple[int, float, float]]:
    """Return by question the driver's answer, and its median and longest cost in seconds."""
    with (FOLDER / "answers.csv").open(encoding="utf-8") as file:
        return {
            row["question"]: (
                int(row["answer"]), 1e-6 * float(row["median_us"]), 1e-6 * float(row["most_us"])
            )
            for row in csv.DictReader(file)
        }  # fmt: skip


def logged(name: str, start: str = "", end: str = "") -> list[Sample]:
    """Return the logger's lines as samples, from *start* to before *end*, ``HH:MM:SS``.

    ``at_s`` counts from *start*.
    """
    rows = log(name)
    began = _instant(f"2026/11/25 {start}.000") if start else rows[0][0]
    over = _instant(f"2026/11/25 {end}.000") if end else rows[-1][0]
    samples = []
    for when, row in rows:
        if began <= when <= over:
            at_s = (when - began).total_seconds()
            samples.append(Sample(at_s=at_s, end_s=at_s, readings=_readings(row)))
    return samples


def of_pass(name: str, number: int) -> list[Sample]:
    """Return the samples that the harness kept of one pass, counted from its start."""
    one = passes(name)[number]
    began, ended = (datetime.fromisoformat(one[key]) for key in ("started", "ended"))
    samples = []
    for at, readings in kept(name):
        if began <= at <= ended:
            at_s = (at - began).total_seconds()
            told: dict[str, Reading] = {
                each: Reading(name=each, unit=str(value.get("unit", "")), **_of(value))
                for each, value in readings.items()
            }
            samples.append(Sample(at_s=at_s, end_s=at_s, readings=told))
    return samples


def _of(kept_reading: Mapping[str, Any]) -> dict[str, Any]:
    return {key: kept_reading.get(key) for key in ("value", "why", "raw")}


def _readings(row: dict[str, str]) -> dict[str, Reading]:
    found = {name: measured(name, float(row[field])) for name, field in _LOGGED.items()}
    held_down = limited(int(row["clocks_event_reasons.active"], 16))
    values = (held_down.heat, held_down.power)
    for name, value in zip(REASONS, values, strict=True):
        found[name] = measured(name, value, raw=held_down.raw)
    return found


def _instant(told: str) -> datetime:
    return datetime.strptime(told, "%Y/%m/%d %H:%M:%S.%f").replace(tzinfo=UTC)


def wait(name: str, number: int) -> list[Sample]:
    """Return what the logger saw during the wait before a pass, counted from its start."""
    one = passes(name)[number]
    over = datetime.fromisoformat(one["started"])
    began = over - timedelta(seconds=one["waited_s"])
    found = ((when, row) for when, row in log(name) if began <= when <= over)
    return [
        Sample(at_s=at_s, end_s=at_s, readings=_readings(row))
        for when, row in found
        for at_s in [(when - began).total_seconds()]
    ]
