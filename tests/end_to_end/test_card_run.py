"""Whole runs on a rig whose card is scripted: its own limit, and the night it is lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from harness.run.records import PassJudged, RigHeld, RunStarted
from harness.store.sqlite import open_store

ROOT = Path(__file__).parents[2]
UUID = "GPU-1f0c64d2-3b5e-4a86-9d10-2c7f5e8ab901"
OTHER = "GPU-1f0d77aa-0000-4a86-9d10-2c7f5e8ab902"

#: The harness with another driver: the script is told what its card says.
HARNESS = """
import json, sys
from harness.__main__ import main
from harness.rig.sensors import nvml_binding
from harness.rig.sensors.fake_nvml import FakeCard, FakeNvml
from harness.rig.sensors.nvml import GPU_IS_LOST, NvmlError, Number

script = json.loads(sys.argv[1])

class Rig(FakeNvml):
    looks = 0

    def number(self, card, what):
        if what is Number.TEMPERATURE:
            self.looks += 1
            self.by_uuid[card].numbers[what] -= script["falls"]
            if script["lost_after"] and self.looks > script["lost_after"]:
                self.by_uuid[card].lost = NvmlError(GPU_IS_LOST, "GPU is lost")
        return super().number(card, what)

made = Rig(by_uuid={uuid: FakeCard() for uuid in script["cards"]})
for card in made.by_uuid.values():
    card.numbers[Number.TEMPERATURE] = script["temperature"]
    if script["slowdown"] is None:
        del card.numbers[Number.SLOWDOWN]
    else:
        card.numbers[Number.SLOWDOWN] = script["slowdown"]
nvml_binding.NvmlBinding = lambda: made
sys.exit(main(sys.argv[2:], out=sys.stdout, err=sys.stderr))
"""
PLAN = """
plan: own-limit
RIG
settings: {fhd: {size: small}}
titles:
  - title: Lantern Quay
    scene: harbour loop
    settings: [fhd]
    command: ["{python}", TITLE, "{captures}/f.csv"]
    time_limit: 30 s
    frames: {file: f.csv, column: frame_ms, unit: ms}
passes: {warm_up: 0, keep: 1}
"""


TITLE = """
import sys, time
began = time.monotonic()
while time.monotonic() - began < SECONDS:
    time.sleep(0.01)
with open(sys.argv[1], "w") as log:
    log.write("frame_ms\\n" + f"{1000 * SECONDS / 300}\\n" * 300)
"""


class Rig:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def harness(
        self,
        *arguments: str,
        temperature: int = 61,
        slowdown: int | None = 95,
        lost_after: int = 0,
        falls: int = 0,
        cards: tuple[str, ...] = (UUID,),
    ) -> subprocess.CompletedProcess[str]:
        script = {
            "temperature": temperature,
            "slowdown": slowdown,
            "lost_after": lost_after,
            "falls": falls,
            "cards": cards,
        }
        return subprocess.run(
            [sys.executable, "-c", HARNESS, json.dumps(script), *arguments],
            cwd=ROOT,
            env={
                **os.environ,
                "HARNESS_STORE": str(self.folder / "store"),
                "HARNESS_RIG": str(self.folder / "rig"),
            },
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    def plan(self, *, rig: str = "", seconds: float = 0.1) -> str:
        title, path = self.folder / "title.py", self.folder / "plan.yaml"
        title.write_text(TITLE.replace("SECONDS", str(seconds)))
        path.write_text(PLAN.replace("RIG", rig).replace("TITLE", str(title)))
        return str(path)

    def records(self) -> list[object]:
        with open_store(self.folder / "store", write=False) as store:
            (line,) = store.runs()
            return [entry.record for entry in store.entries(line.run)]


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


def test_a_plan_without_limits_has_the_cards_own(rig: Rig) -> None:
    done = rig.harness("run", rig.plan())
    assert (done.returncode, done.stdout[-200:]) == (0, done.stdout[-200:])
    whence = "gpu.temperature.slowdown, 95 °C: where the card slows itself down"
    assert f"note: the plan gives no limits; the limit is {whence}\n" in done.stderr
    started = rig.records()[0]
    assert isinstance(started, RunStarted)
    assert started.limit_from == whence


def test_the_same_plan_is_still_the_same_run(rig: Rig) -> None:
    plan = rig.plan()
    rig.harness("run", plan)
    assert rig.harness("run", plan).returncode == 0
    assert len([each for each in rig.records() if isinstance(each, RunStarted)]) == 1


def test_the_cards_own_limit_holds_the_rig(rig: Rig) -> None:
    done = rig.harness("run", rig.plan(seconds=5.0), temperature=120, falls=3)
    assert done.returncode == 3
    (hold,) = [each for each in rig.records() if isinstance(each, RigHeld)]
    assert "gpu.temperature must be at most 95 °C" in hold.reason


def test_without_a_threshold_nothing_is_started(rig: Rig) -> None:
    done = rig.harness("run", rig.plan(), slowdown=None)
    assert done.returncode == 3
    assert "error[no-limit]" in done.stderr
    assert "gpu.temperature.slowdown is not measured: this card does not tell it" in done.stderr


def test_of_several_cards_none_is_guessed_and_the_plan_may_name_one(rig: Rig) -> None:
    both = (UUID, OTHER)
    done = rig.harness("run", rig.plan(), cards=both)
    assert done.returncode == 3
    assert f"several cards, name one in rig.gpu: {UUID}, {OTHER}" in done.stderr
    assert rig.harness("run", rig.plan(rig="rig: {gpu: GPU-1f0d}"), cards=both).returncode == 0


def test_a_card_that_is_lost_in_mid_pass_holds_the_rig(rig: Rig) -> None:
    done = rig.harness("run", rig.plan(rig="limits: none", seconds=4.0), lost_after=3)
    assert done.returncode == 3
    records = rig.records()
    (judged,) = [each for each in records if isinstance(each, PassJudged)]
    (hold,) = [each for each in records if isinstance(each, RigHeld)]
    assert judged.fault == "device-lost"
    assert UUID in hold.reason
    assert "it was at 61 °C" in hold.reason


def test_the_card_is_shown_with_its_identity(rig: Rig) -> None:
    done = rig.harness("sensors", "--gpu", "GPU-1f0c")
    assert "gpu.temperature" in done.stdout
    assert f"[1] Heron 700, {UUID}, 0000:0a:00.0" in done.stdout
