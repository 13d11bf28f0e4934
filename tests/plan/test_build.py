"""What a plan file asks for is what the plan holds."""

from __future__ import annotations

from hypothesis import given

from harness.plan import document as d
from tests.plan.words import changed, checked
from tests.plan_text import written
from tests.strategies import few, plans


@few
@given(plans())
def test_a_plan_that_is_written_is_read_back_as_it_was(plan: d.Plan) -> None:
    result = checked(written(plan))

    assert result.errors == ()
    assert result.plan == plan


# The example of the format, with all that is built: every key has its effect.
EXAMPLE = """\
plan: two-slots
about: Does the second slot cost this card anything, and does the quiet power limit?
procedure: 3
rig:
  needs:
    - {reading: memory.speed, at_least: 6000 MT/s}
    - {reading: disk.free, at_least: 20 GiB}
  settle: 5 min
facts: {card price: 649 EUR at 2026-11-02, room noise: 22 dB(A) at 50 cm}
person: {hours: "08:00-22:00"}
conditions:
  slot:
    by: operator
    opens_case: true
    reboot: true
    changes: [gpu.link.width, disks]
    levels:
      alone:
        say: "Card in the first slot, second slot empty."
        expect:
          - {reading: gpu.link.width, is: 16}
          - {reading: gpu.link.generation, at_least: 4}
      shared:
        say: "Storage card in the second slot."
        expect: [{reading: gpu.link.width, is: 8}, {reading: disks, holds: LAB-TEST-2T}]
  power:
    by: command
    changes: [gpu.power.limit]
    levels:
      stock: {command: [power-limit, "300"], expect: [{reading: gpu.power.limit, is: 300 W}]}
      quiet:
        command: [power-limit, "220"]
        put_back: {command: [power-limit, "300"], time_limit: 20 s}
        expect: [{reading: gpu.power.limit, is: 220 W}]
settings:
  fhd: {size: 1920x1080, preset: high}
  uhd: {size: 3840x2160, preset: high}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [fhd, uhd]
    build: {files: [bin/lantern-quay]}
    prepare: [[restore-save, harbour]]
    command: [lantern-quay, --bench, "{scene}", --size, "{size}", --preset, "{preset}"]
    collect: ["results/*.csv"]
    tidy: [[close-launcher]]
    time_limit: 3 min
    cut: {from: 5 s, length: 60 s, tolerance: 2 %}
    frames: {file: frames.csv, column: frame_ms, unit: ms}
    bytes_per_frame: 6 MiB
  - title: Basalt Run
    scene: export
    settings: [fhd]
    command: [basalt-run, --export, "{size}"]
    time_limit: 20 min
    figures:
      export: {from: wall_time, better: lower}
      score: {from: output, pattern: 'score\\s*=\\s*(?P<value>[0-9.]+)', better: higher}
      quality: {from: json, file: result.json, at: /summary/psnr_db, unit: dB, better: higher}
passes:
  warm_up: {passes: 1, when: [launch, visit, build-changed]}
  keep: 6
  at_most: 8
  look_first: true
gates:
  - {reading: gpu.temperature, between: [55 °C, 65 °C], for: 10 s, give_up: 15 min, then: mark}
  - {reading: cpu.load, at_most: 10 %, for: 5 s, give_up: 5 min, then: hold}
guards:
  - {reading: gpu.limited.heat, is: false, share: 5 %}
  - {reading: cpu.load.others, at_most: 15 %, share: 10 %}
limits:
  - {reading: gpu.temperature, at_most: 92 °C}
discard:
  - {rule: spread, on: average_fps, more_than: 3 %, at_most: 1}
  - {rule: grubbs, on: average_fps, alpha: 5 %, least: 6, floor: 0.5 %, at_most: 1}
order: {by: fewest-changes, rounds: 5, rounds_within: slot, visits: 2, seed: 11}
compare: {same: [os.build, title.build, memory.speed], band: 3 %, low: percentile}
faults: {again: 1, then: next-cell, stop_after: 3}
"""


def test_every_key_of_the_example_is_kept_in_base_units() -> None:
    result = checked(EXAMPLE)
    plan = result.accepted()
    slot, power = plan.conditions
    quay, basalt = plan.titles

    # Grubbs at 5 % takes a pass from too many sound cells: said, and allowed.
    assert [problem.code for problem in result.problems] == ["discards-too-many"]
    assert (plan.name, plan.procedure) == ("two-slots", "3")
    assert plan.rig == d.Rig(
        needs=(
            d.Bound(reading="memory.speed", unit="MT/s", at_least=6000.0),
            d.Bound(reading="disk.free", unit="GiB", at_least=20.0),
        ),
        settle_s=300.0,
    )
    assert plan.facts == (
        ("card price", "649 EUR at 2026-11-02"),
        ("room noise", "22 dB(A) at 50 cm"),
    )
    assert plan.person == d.Person(from_minute=480, to_minute=1320)
    assert (slot.by, slot.opens_case, slot.reboot) == (d.By.OPERATOR, True, True)
    assert slot.levels[1].expect[1] == d.Bound(reading="disks", unit="", holds="LAB-TEST-2T")
    assert power.levels[1] == d.Level(
        name="quiet",
        command=d.Command(argv=("power-limit", "220"), time_limit_s=120.0),
        put_back=d.Command(argv=("power-limit", "300"), time_limit_s=20.0),
        expect=(d.Bound(reading="gpu.power.limit", unit="W", equals=220.0),),
    )
    assert quay.cut == d.Cut(from_s=5.0, length_s=60.0, tolerance=0.02)
    assert (quay.command.time_limit_s, quay.bytes_per_frame) == (180.0, 6 * 2.0**20)
    assert quay.tidy == (d.Command(argv=("close-launcher",), time_limit_s=120.0),)
    assert [(figure.name, figure.source, figure.unit) for figure in basalt.figures] == [
        ("export", d.FigureFrom.WALL_TIME, "s"),
        ("score", d.FigureFrom.OUTPUT, ""),
        ("quality", d.FigureFrom.JSON, "dB"),
    ]
    assert plan.gates[0] == d.Gate(
        bound=d.Bound(reading="gpu.temperature", unit="°C", at_least=55.0, at_most=65.0),
        for_s=10.0,
        give_up_s=900.0,
        then=d.Then.MARK,
    )
    assert plan.guards[0].bound.equals is False
    assert plan.guards[1].share == 0.1
    assert plan.limits is not None
    assert plan.limits[0].bound.at_most == 92.0
    assert plan.discard[1] == d.DiscardRule(
        rule="grubbs", on="average_fps", alpha=0.05, least=6, floor=0.005
    )
    assert plan.order == d.Order(
        by=d.OrderBy.FEWEST_CHANGES, rounds=5, rounds_within="slot", visits=2, seed=11
    )
    assert plan.compare.same == ("os.build", "title.build", "memory.speed")


def test_a_part_knows_where_it_was_written() -> None:
    title = checked(changed()).accepted().titles[0]

    assert title.at == d.At(5, 5)
    assert title.command.at == d.At(8, 14)


def test_what_is_not_said_has_its_stated_default() -> None:
    text = """\
plan: least
settings: {fhd: {}}
titles:
- {title: Copper Fen, scene: marsh, settings: [fhd], command: [copper-fen],
   frames: {file: f.csv, column: 2, unit: us}}
passes: {}
"""
    plan = checked(text).accepted()

    assert plan.passes == d.Passes(warm_up=d.WarmUp(passes=1), keep=3, at_most=5, look_first=False)
    assert plan.titles[0].command.time_limit_s == 600.0
    assert plan.titles[0].frames == d.Frames(file="f.csv", column=2, unit="us")
    assert (plan.limits, plan.limits_none) == (None, False)


def test_more_kept_passes_raise_the_default_ceiling() -> None:
    plan = checked(changed(("keep: 3, at_most: 6", "keep: 9"))).accepted()

    assert plan.passes.at_most == 11


def test_a_night_is_kept_as_data() -> None:
    night = "night: {start: 22:30, end: 07:00, days: [sat, mon-wed], zone: Europe/Lisbon}\n"
    limit = ("limits: none", "limits: [{reading: gpu.temperature, at_most: 92 °C}]")
    result = checked(changed(limit, add=night))

    assert result.problems == ()
    assert result.accepted().night == d.Night(
        start_minute=1350,
        end_minute=420,
        days=("mon", "tue", "wed", "sat"),
        zone="Europe/Lisbon",
    )
