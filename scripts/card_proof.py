"""The harness on a real NVIDIA card, held against an independent logger.

    python scripts/card_proof.py STEP … --into FOLDER

Touches the card (computes on it; sets nothing), disk, processes, the clock. The steps:

    look      what is read, and what each question to the driver costs
    fall      a hot card brought back to a band, and a band the room does not allow
    guard     a load that its power limit holds down, voided by a guard
    kill      kill -9 of the runner in mid-pass; the card must be empty, the run must go on
    cost      passes of a minute, of which it is told what looking at the rig cost them, and
              what each source of readings costs a title's frames; the logger rests
    grid      plans/gpu.yaml, shortened with --quick

While they run, nvidia-smi logs the same card once a second; at the end the two are put side
by side: every reading that the harness kept against the line of the log nearest in time.
Before you start it: a working smoke alarm, clear air paths, no modified power path.
"""

from __future__ import annotations

import argparse
import bisect
import csv
import json
import os
import signal
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

TITLE = str(ROOT / "scripts" / "gpu_title.py")

#: Reading -> the logger's field, what may lie between the two, and whether that is a share.
FIELDS: dict[str, tuple[str, float, bool]] = {
    "gpu.temperature": ("temperature.gpu", 2.0, False),
    "gpu.memory.temperature": ("temperature.memory", 2.0, False),
    "gpu.clock": ("clocks.current.graphics", 0.03, True),
    "gpu.memory.clock": ("clocks.current.memory", 0.01, True),
    "gpu.power": ("power.draw", 0.10, True),
    "gpu.power.limit": ("enforced.power.limit", 0.01, True),
    "gpu.load": ("utilization.gpu", 15.0, False),
    "gpu.link.generation": ("pcie.link.gen.gpucurrent", 0.0, False),
    "gpu.link.width": ("pcie.link.width.current", 0.0, False),
}
#: The same for what holds the clocks down: reading -> bits of the logger's mask.
REASONS: dict[str, int] = {
    "gpu.limited.heat": 0x20 | 0x40,
    "gpu.limited.power": 0x4 | 0x80,
}
QUERY = [
    "timestamp", *(field for field, _, _ in FIELDS.values()), "clocks_event_reasons.active"
]  # fmt: skip

#: A sample that the harness kept, and a line of the log, each with its instant.
Kept = tuple[datetime, dict[str, dict[str, object]]]
Logged = tuple[datetime, dict[str, str]]


def smi(*what: str) -> str:
    """Return one answer of nvidia-smi about the first card."""
    asked = ["nvidia-smi", f"--query-gpu={','.join(what)}", "--format=csv,noheader,nounits"]
    return subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip()


def on_the_card() -> list[str]:
    """Return the processes that nvidia-smi sees on the card."""
    asked = ["nvidia-smi", "--query-compute-apps=pid,name", "--format=csv,noheader"]
    text = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    return [line for line in text.splitlines() if line.strip()]


@contextmanager
def logged(file: Path) -> Iterator[None]:
    """Let nvidia-smi log the card once a second into *file*."""
    with file.open("ab") as out:
        asked = ["nvidia-smi", f"--query-gpu={','.join(QUERY)}", "-l", "1"]
        logger = subprocess.Popen([*asked, "--format=csv,noheader,nounits"], stdout=out)
        try:
            yield
        finally:
            logger.terminate()
            logger.wait(timeout=10)


def harness(*arguments: str, into: Path, timeout_s: float = 580.0) -> tuple[int, str]:
    """Carry out a command of the harness; return its exit status and what it printed."""
    done = subprocess.run(
        [sys.executable, "-m", "harness", *arguments],
        cwd=ROOT,
        env=environment(into),
        capture_output=True,
        text=True,
        timeout=timeout_s,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def environment(into: Path) -> dict[str, str]:
    """Return the environment of a command: a rig's folder and a store of its own."""
    return {
        **os.environ,
        "HARNESS_STORE": str(into / "store"),
        "HARNESS_RIG": str(into / "rig"),
        "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
    }


def plan(name: str, *, size: int, seconds: float, keep: int, more: str) -> str:
    """Return a small plan over the title that computes on the card."""
    return f"""plan: {name}
settings: {{s: {{size: "{size}"}}}}
titles:
  - title: Slate Shoal
    scene: open water
    settings: [s]
    command: ["{{python}}", {TITLE}, --size, "{{size}}", --half, --products, "4",
              --seconds, "{seconds:g}", --log, "{{captures}}/frames.csv"]
    time_limit: 2 min
    frames: {{file: frames.csv, column: frame_ms, unit: ms}}
passes: {{warm_up: 0, keep: {keep}, at_most: {keep + 2}}}
limits: [{{reading: gpu.temperature, at_most: 88 °C}}]
{more}"""


def run_plan(text: str, into: Path, name: str) -> str:
    """Carry out a plan given as text, print what came of it, return that."""
    file = into / f"{name}.yaml"
    file.write_text(text, encoding="utf-8")
    status, told = harness("run", str(file), "--plain", into=into)
    print(f"--- {name}: exit status {status}\n{told}", flush=True)
    return told


def heat(seconds: float, *, size: int = 16384) -> None:
    """Load the card for so long, outside the harness."""
    command = [sys.executable, TITLE, "--size", str(size), "--half", "--seconds", f"{seconds:g}"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def look(into: Path) -> None:
    """Print what can be read here, and what each question costs."""
    print(harness("sensors", into=into)[1], flush=True)
    from harness.rig.sensors.nvml import Number
    from harness.rig.sensors.nvml_binding import NvmlBinding

    nvml = NvmlBinding()
    (card, *_) = nvml.cards()
    print(f"driver {nvml.driver()}, card {card}")
    for what in Number:
        took: list[float] = []
        answer: object = None
        for _ in range(50):
            began = time.perf_counter()
            try:
                answer = nvml.number(card, what)
            except Exception as error:  # noqa: BLE001 - the answer is part of what is shown
                answer = error
            took.append(time.perf_counter() - began)
        took.sort()
        print(
            f"  {what.name:<22} {1e6 * statistics.median(took):8.1f} µs "
            f"(most {1e6 * took[-1]:.0f})   {answer}"
        )


def fall(into: Path) -> None:
    """Bring a hot card back to a band; and ask for one that the room does not allow."""
    rest_c = int(smi("temperature.gpu"))  # best asked before anything else was done
    heat(45.0)
    hot_c = int(smi("temperature.gpu"))
    print(f"at rest {rest_c} °C, after a load of 45 s {hot_c} °C", flush=True)
    band = rest_c + 1
    gate = "gates: [{{reading: gpu.temperature, at_most: {} °C, for: 3 s, give_up: {}, then: {}}}]"
    run_plan(
        plan("fall", size=2048, seconds=2, keep=1, more=gate.format(band, "5 min", "mark")),
        into,
        "fall",
    )
    heat(30.0)
    run_plan(
        plan("floor", size=2048, seconds=2, keep=1, more=gate.format(rest_c - 8, "4 min", "mark")),
        into,
        "floor",
    )
    for line in (into / "log.csv").read_text().splitlines()[-3:]:
        print("  log: " + line)
    for line in kept_forecasts(into / "store"):
        print("  " + line, flush=True)


def kept_forecasts(store: Path) -> Iterator[str]:
    """Yield what the records keep of each wait: what was foretold, beside what came true."""
    from harness.run import records as r
    from harness.store.sqlite import open_store
    from harness.summary.forecasts import borne_out
    from harness.views.foretold import borne_words, foretold_lines

    with open_store(store, write=False) as opened:
        for line in reversed(opened.runs()):
            records = [entry.record for entry in opened.entries(line.run)]
            yield f"--- {line.plan_name}: foretold, and what came true"
            for record in records:
                if not isinstance(record, r.PassStarted | r.PassSkipped | r.RigHeld):
                    continue
                yield from foretold_lines(record.foretold)
                if record.gate is not None and (floor := record.gate.floor) is not None:
                    yield (
                        f"given up after {record.gate.waited_s:.0f} s at {record.gate.value} °C: "
                        f"foretold {floor.value_c:.1f} °C ({floor.low_c:.1f} to "
                        f"{floor.high_c:.1f} °C) at {floor.by_s:.0f} s"
                    )
            yield borne_words(borne_out(records))


def cost(into: Path) -> None:
    """Print what the harness cost passes whose frames are on the machine's own clock."""
    text = plan("cost", size=1024, seconds=60, keep=2, more="")
    text = text.replace("column: frame_ms, unit: ms", "column: ended_ms, unit: ms, values: clock")
    run_plan(text, into, "cost")
    shown = json.loads(harness("trace", "--json", into=into)[1])
    for cell in shown["cells"]:
        for attempt in (1, 2):
            print(harness("trace", f"{cell['cell']}-{attempt:03}", into=into)[1], flush=True)


def questions(into: Path) -> None:
    """Print what a look costs the frames of a title that keeps the card and one core busy.

    The title's main thread is kept to one core. Looks are taken on that core, on another and on
    any, and by one source of readings at a time, in turns.
    """
    from harness.rig.clock import MachineClock
    from harness.rig.sensors.registry import machine_sensors
    from harness.rig.sensors.sensors import Sensors

    clock, log = MachineClock(), into / "questions.csv"
    every = os.sched_getaffinity(0)
    own, other, *_ = sorted(every)
    command = [sys.executable, TITLE, "--size", "1024", "--half", "--products", "4"]
    title = subprocess.Popen(
        [*command, "--seconds", "100", "--log", str(log)], stdout=subprocess.DEVNULL
    )
    os.sched_setaffinity(title.pid, {own})  # of its main thread, which waits for the card
    sensors = machine_sensors(store=into, clock=clock)
    asked: dict[str, tuple[Callable[[], object], set[int]]] = {
        "nothing, another core": (lambda: None, {other}),
        "nothing, the title's core": (lambda: None, {own}),
        "all, another core": (sensors.sample, {other}),
        "all, the title's core": (sensors.sample, {own}),
        "all, any core": (sensors.sample, every),
    }
    for source, names in sensors._sources:  # taken apart
        if source.each_tick:
            alone = Sensors([source], now_s=clock.steady_s)
            asked[f"{names[0]} …, another core"] = (alone.sample, {other})
    clock.pause(15.0)  # the library starts, and the clocks rise
    looks: dict[str, list[tuple[int, int]]] = {name: [] for name in asked}
    until = time.monotonic() + 80.0
    while time.monotonic() < until:
        for name, (look_once, cores) in asked.items():
            os.sched_setaffinity(0, cores)
            clock.pause(0.06)  # asleep, as the sampler is before a look
            began = time.monotonic_ns()
            look_once()
            looks[name].append((began, time.monotonic_ns()))
    os.sched_setaffinity(0, every)
    title.wait()
    with log.open(encoding="ascii", newline="") as file:
        rows = list(csv.DictReader(file))
    ended = [float(row["ended_ms"]) for row in rows]
    took = [float(row["frame_ms"]) for row in rows]
    print("--- looks: how long each took, and how much longer the frames around it took")
    for name, of_name in looks.items():
        more = [each for look in of_name if (each := _longer(ended, took, look)) is not None]
        if len(more) < 2:
            continue
        error = statistics.stdev(more) / len(more) ** 0.5
        look_us = statistics.median(last - first for first, last in of_name) / 1000
        print(
            f"  {name:<44} took {look_us:7.0f} µs; frames {1000 * statistics.fmean(more):8.1f} "
            f"± {1000 * 2 * error:.1f} µs (median {1000 * statistics.median(more):.1f}, "
            f"{len(more)} looks)",
            flush=True,
        )


def _longer(ended: list[float], took: list[float], look: tuple[int, int]) -> float | None:
    """Return how much longer the frames of a look and its next 2 ms were than those around, ms."""
    first = bisect.bisect_left(ended, look[0] / 1e6)
    last = bisect.bisect_left(ended, look[1] / 1e6 + 2.0)
    if first < 100 or last + 100 > len(took):
        return None
    around = statistics.median(took[first - 80 : first - 10] + took[last + 10 : last + 80])
    return sum(took[first : last + 1]) - around * (last + 1 - first)


def guard(into: Path) -> None:
    """Void passes of a load that the card's power limit holds down."""
    guards = "guards: [{reading: gpu.limited.power, is: false, share: 5 %}]"
    run_plan(plan("guard", size=16384, seconds=12, keep=1, more=guards), into, "guard")


def kill(into: Path) -> None:
    """Kill the runner in mid-pass with the card busy; then go on."""
    file = into / "kill.yaml"
    file.write_text(plan("kill", size=8192, seconds=8, keep=2, more=""), encoding="utf-8")
    runner = subprocess.Popen(
        [sys.executable, "-m", "harness", "run", str(file), "--plain"],
        cwd=ROOT, env=environment(into), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    from harness.rig.clock import MachineClock

    clock = MachineClock()
    deadline = time.monotonic() + 60.0
    while not on_the_card() and time.monotonic() < deadline:
        clock.pause(0.2)
    print(f"--- kill: on the card before: {on_the_card()}")
    runner.send_signal(signal.SIGKILL)
    killed = time.monotonic()
    runner.wait()
    while on_the_card() and time.monotonic() < killed + 20.0:
        clock.pause(0.05)
    print(f"    {time.monotonic() - killed:.2f} s after kill -9: {on_the_card() or 'empty'}")
    status, told = harness("run", str(file), "--plain", into=into)
    print(f"    going on: exit status {status}\n{told}", flush=True)
    print(harness("results", "--json", into=into)[1][:600])


def grid(into: Path, *, quick: bool) -> None:
    """Carry out plans/gpu.yaml, and compare its two levels."""
    text = (ROOT / "plans" / "gpu.yaml").read_text(encoding="utf-8")
    if quick:
        text = text.replace("keep: 4", "keep: 3").replace(
            '- "8"\n      - --log', '- "5"\n      - --log'
        )
        text = text.replace(
            "between: [15 °C, 55 °C], for: 3 s", "between: [15 °C, 70 °C], for: 1 s"
        )
    file = into / "gpu.yaml"
    file.write_text(text, encoding="utf-8")
    rate = subprocess.run(
        [sys.executable, TITLE, "--copy-rate", "--many-mib", "256", "--seconds", "3"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    print(f"--- the copy rate by itself: {rate.stdout}{rate.stderr}", flush=True)
    status, told = harness("run", str(file), "--plain", into=into)
    print(f"--- grid: exit status {status}\n{told}", flush=True)
    for command in (
        ["results"],
        ["compare", "--base", "moves=few", "--against", "moves=many"],
        ["ceilings"],
    ):
        print(f"--- {' '.join(command)}\n{harness(*command, into=into)[1]}", flush=True)


def compared(into: Path) -> None:
    """Put what the harness kept beside the log; print a table, keep it as JSON."""
    whole, _, _ = (into / "log.csv").read_text().rpartition("\n")  # the last may be cut anywhere
    lines = csv.reader(whole.splitlines())
    rows = [dict(zip(QUERY, map(str.strip, line), strict=False)) for line in lines]
    log = [(_instant(row["timestamp"]), row) for row in rows if len(row) == len(QUERY)]
    first, last = log[0][0], log[-1][0]
    kept = [each for each in samples(into / "store") if first < each[0] < last]
    print(f"--- {len(kept)} samples of the harness, {len(log)} lines of the log")
    table = side_by_side(kept, log)
    for row in table:
        print("  " + json.dumps(row, ensure_ascii=False))
    (into / "compared.json").write_text(json.dumps(table, ensure_ascii=False, indent=1))


def side_by_side(kept: Sequence[Kept], log: Sequence[Logged]) -> list[dict[str, object]]:
    """Return one row for each reading: how far samples lie from the log around them."""
    table = []
    for name, (field, allowed, share) in FIELDS.items():
        apart = _apart(kept, log, name, field, share=share)
        table.append(_row(name, apart, allowed, share=share))
    for name, mask in REASONS.items():
        seen = [
            (reading, {bool(int(row["clocks_event_reasons.active"], 16) & mask) for row in near})
            for at, readings in kept
            if isinstance(reading := readings.get(name, {}).get("value"), bool)
            and (near := [row for when, row in log if abs((when - at).total_seconds()) < 1.6])
        ]
        agree = sum(reading in around for reading, around in seen)
        table.append({"reading": name, "pairs": len(seen), "agree": agree})
    return table


def samples(store: Path) -> Iterator[Kept]:
    """Yield every sample that the store keeps, with its instant."""
    from harness.run import records as r
    from harness.store.sqlite import open_store

    with open_store(store, write=False) as opened:
        for line in opened.runs():
            began: dict[tuple[str, int], datetime] = {}
            for entry in opened.entries(line.run):
                if isinstance(entry.record, r.PassStarted):
                    began[entry.record.cell, entry.record.attempt] = entry.at
                elif isinstance(entry.record, r.PassEnded) and entry.record.bundle is not None:
                    start = began[entry.record.cell, entry.record.attempt]
                    with opened.open_member(entry.record.bundle, "readings.jsonl") as file:
                        for text in file:
                            sample = json.loads(text)
                            at = start + timedelta(seconds=sample["into_s"])
                            yield at, sample["readings"]


def _apart(
    kept: Sequence[Kept],
    log: Sequence[Logged],
    name: str,
    field: str,
    *,
    share: bool,
) -> list[float]:
    """Return how far each value lies outside what the log saw within a second of it.

    The two do not look at one instant: a value that moves is held against the whole way that
    it went in the log, from the lowest to the highest of the lines around it.
    """
    apart = []
    for at, readings in kept:
        value = readings.get(name, {}).get("value")
        if not isinstance(value, int | float) or isinstance(value, bool):
            continue
        near = []
        for when, row in log:
            if abs((when - at).total_seconds()) < 1.6:
                try:
                    near.append(float(row[field]))
                except ValueError:
                    continue  # not told by this card
        if near:
            outside = max(min(near) - value, value - max(near), 0.0)
            apart.append(outside / abs(value) if share and value else outside)
    return apart


def _row(name: str, apart: Sequence[float], allowed: float, *, share: bool) -> dict[str, object]:
    unit = "share" if share else "unit"
    if not apart:
        return {"reading": name, "pairs": 0}
    return {
        "reading": name,
        "pairs": len(apart),
        f"median_apart_{unit}": round(statistics.median(apart), 4),
        f"most_apart_{unit}": round(max(apart), 4),
        "within": sum(each <= allowed for each in apart),
        "allowed": allowed,
    }


def _instant(text: str) -> datetime:
    """Return the logger's local time as an instant."""
    local = datetime.strptime(text, "%Y/%m/%d %H:%M:%S.%f")  # noqa: DTZ007 - made aware below
    return local.astimezone(UTC)


def main() -> int:
    """Carry out the steps that are asked for, under the eye of the logger."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument(
        "steps", nargs="+", choices=("look", "fall", "cost", "guard", "kill", "grid")
    )
    parser.add_argument("--into", type=Path, required=True, help="an empty folder")
    parser.add_argument("--quick", action="store_true", help="a shorter grid")
    args = parser.parse_args()
    into = args.into.absolute()
    into.mkdir(parents=True, exist_ok=True)
    for step in args.steps:
        began = time.monotonic()
        with nullcontext() if step == "cost" else logged(into / "log.csv"):
            match step:
                case "look":
                    look(into)
                case "fall":
                    fall(into)
                case "cost":
                    cost(into)
                    questions(into)
                case "guard":
                    guard(into)
                case "kill":
                    kill(into)
                case _:
                    grid(into, quick=args.quick)
        print(f"=== {step}: {time.monotonic() - began:.0f} s", flush=True)
    if (into / "log.csv").exists():
        compared(into)
    return 0


if __name__ == "__main__":
    sys.exit(main())
