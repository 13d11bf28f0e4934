"""The sensor traces of ``tests/golden/sensors``, played into the readings of a rig.

Each trace has its verdict in ``expected.csv``. What is a reading's part of the verdict is held
here; what gates, guards and limits make of it is held beside those.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from harness.plan.document import Bound
from harness.rig.bounds import Met, met
from harness.rig.readings import Reading, Sample, Value, measured
from harness.rig.sensors.sensors import Sensors
from harness.rig.sensors.source import FakeSource, Unreadable
from tests.rig.clocks import StillClock

GOLDEN = Path(__file__).parents[2] / "golden" / "sensors"
_Cell = Callable[[str], "Value | Exception | None"]


def _rows(name: str) -> list[dict[str, str]]:
    with (GOLDEN / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _number(cell: str) -> float | Exception | None:
    """Return what a source makes of a cell: a number, nothing, or a failure that says why."""
    if not cell:
        return None
    try:
        return float(cell)
    except ValueError:
        return Unreadable(f"cannot be read: says {cell!r} where a number should be")


def _played(name: str, columns: dict[str, tuple[str, _Cell]]) -> dict[float, Sample]:
    """Return the samples of a trace by time; each reading has its column, and how it is read."""
    rows = _rows(name)
    times = [float(row["t_s"]) for row in rows]
    clock = iter([each for time in times for each in (time, time)])
    sources = [
        FakeSource(name=reading, script=tuple(read(row[column]) for row in rows))
        for reading, (column, read) in columns.items()
    ]
    sensors = Sensors(sources, now_s=lambda: next(clock))
    return {time: sensors.sample() for time in times}


def _reading(sample: Sample, name: str) -> Reading:
    return sample.readings[name]


def test_values_that_stand_for_none_are_implausible_and_their_neighbour_is_unaffected() -> None:
    played = _played(
        "s01_temperature_sentinels.csv",
        {"cpu.temperature": ("cpu_c", _number), "room.temperature": ("board_c", _number)},
    )
    cpu = {time: _reading(sample, "cpu.temperature") for time, sample in played.items()}
    implausible = {t for t, each in cpu.items() if (each.why or "").startswith("implausible")}
    absent = {t for t, each in cpu.items() if not each.measured} - implausible
    assert implausible == {1, 2, 3, 4, 5, 9}
    assert absent == {6, 7}
    bound = Bound(reading="cpu.temperature", unit="°C", at_most=300, at_least=-300)
    assert {t for t, each in cpu.items() if met(bound, each) is Met.NOT_MEASURED} == (
        implausible | absent
    )
    assert {_reading(sample, "room.temperature").value for sample in played.values()} == {35.0}


@pytest.mark.parametrize(
    ("name", "best"),
    [("s03_link_idle_then_load.csv", (4, 16)), ("s04_link_half_width.csv", (4, 8))],
)
def test_a_link_is_read_as_it_is_idle_and_under_load(name: str, best: tuple[int, int]) -> None:
    played = _played(
        name,
        {
            "gpu.load": ("load_pct", _number),
            "gpu.link.generation": ("link_gen", _number),
            "gpu.link.width": ("link_width", _number),
        },
    )
    generations = [_reading(each, "gpu.link.generation").value for each in played.values()]
    widths = [_reading(each, "gpu.link.width").value for each in played.values()]
    assert generations[0] == 1  # an idle link is slow on purpose: a reading, and no fault
    assert max(value for value in generations if isinstance(value, float)) == best[0]
    assert set(widths) == {best[1]}


def test_a_card_that_disappears_is_not_measured_from_then_on_and_says_how_often() -> None:
    rows = _rows("s06_card_disappears.csv")
    lost = iter(row["state"] for row in rows)

    class Card:
        where, names, each_tick = "a card", ("gpu.temperature", "gpu.power"), True

        def read(self, at_s: float) -> dict[str, Reading]:
            if (state := next(lost)) != "ok":
                raise Unreadable(f"the card is {state}")
            row = rows[int(at_s - start_s)]
            values = {"gpu.temperature": row["gpu_c"], "gpu.power": row["gpu_w"]}
            return {name: measured(name, float(value)) for name, value in values.items()}

    clock = StillClock()
    start_s = clock.at_s
    sensors = Sensors([Card()], now_s=clock.steady_s)
    samples = []
    for _ in rows:
        samples.append(sensors.sample())
        clock.pause(1.0)
    temperatures = [_reading(sample, "gpu.temperature") for sample in samples]
    assert [each.value for each in temperatures] == [61.0, 63.0, None, None, None]
    assert [each.why for each in temperatures[2:]] == [
        "the card is lost",
        "the card is lost, 2 times in a row",
        "the card is unknown, 3 times in a row",
    ]


def test_limit_reasons_are_counted_by_sample() -> None:
    played = _played(
        "s10_throttled_under_load.csv",
        {
            "gpu.clock": ("clock_mhz", _number),
            "gpu.limited.power": ("limit_reason", lambda cell: cell == "power"),
            "gpu.limited.heat": ("limit_reason", lambda cell: cell == "heat"),
        },
    )
    power = [_reading(sample, "gpu.limited.power").value for sample in played.values()]
    heat = [_reading(sample, "gpu.limited.heat").value for sample in played.values()]
    assert (power.count(True), heat.count(True)) == (1, 2)


def test_the_plug_that_falls_out_is_read_at_once() -> None:
    played = _played(
        "s12_power_supply_lost.csv",
        {"power.source": ("on_mains", lambda cell: "mains" if cell == "1" else "battery")},
    )
    lost = [t for t, each in played.items() if _reading(each, "power.source").value == "battery"]
    assert lost[0] == 660


def test_every_trace_has_its_verdict() -> None:
    with (GOLDEN / "expected.csv").open(encoding="utf-8") as file:
        named = {row["file"] for row in csv.DictReader(file)}
    assert named == {path.name for path in GOLDEN.glob("s*.csv")}
