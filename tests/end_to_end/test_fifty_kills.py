"""kill -9 at random moments, fifty times in one run; then SIGSTOP in the place of a suspend."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from harness.rules.judgement import Verdict
from harness.run import records as r
from tests.end_to_end.runs import Place
from tests.end_to_end.test_kill import alive

pytestmark = pytest.mark.slow

#: A runner carries out up to about one pass before it is killed: the plan must outlast them all.
KILLS, KEEP = 50, 40
#: Told from frame times by tests of significance: noise raises them in a run, and not in another.
BY_NOISE = {"trend", "two-levels", "settling", "passes-follow"}
#: A start of the harness and a pass together take about this long, s.
LONGEST_LIFE_S = 1.3


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    with Place(tmp_path) as found:
        small(found)
        yield found


def small(place: Place, *, keep: int = KEEP) -> None:
    """Let the plan keep so many passes of 10 frames in each of its two cells."""
    place.write()
    path = place.folder / "plan.yaml"
    text = path.read_text(encoding="utf-8")
    text = text.replace(
        "warm_up: 1, keep: 2, at_most: 4", f"warm_up: 0, keep: {keep}, at_most: {keep}"
    )
    path.write_text(text.replace('"40"', '"10"'), encoding="utf-8")


def promised(place: Place) -> list[dict[str, Any]]:
    """Return what the results promise of every cell, without the numbers that noise moves."""
    shown = place.json("results")["cells"]
    kept = ("title", "scene", "setting", "conditions", "group", "state")
    return [
        {name: cell[name] for name in kept}
        | {verdict: cell["passes"][verdict] for verdict in ("kept", "discarded", "void", "failed")}
        | {name: figure["definition"] for name, figure in cell["figures"].items()}
        | {"flags": sorted(set(cell["flags"]) - BY_NOISE)}
        | {"n": [figure["n"] for figure in cell["figures"].values()]}
        for cell in shown
    ]


def test_fifty_kills_in_one_run_lose_nothing_and_double_nothing(
    place: Place, tmp_path_factory: pytest.TempPathFactory
) -> None:
    chance = random.Random(50)
    kept: list[r.Record] = []
    kills = 0
    while kills < KILLS:
        runner = place.start("run", "plan.yaml")
        with contextlib.suppress(subprocess.TimeoutExpired):
            runner.wait(chance.uniform(0.0, LONGEST_LIFE_S))
        assert runner.poll() is None, f"it ended by itself after {kills} kills: {runner.stderr}"
        runner.send_signal(signal.SIGKILL)
        runner.communicate(timeout=20)
        kills += 1
        if (place.store / "records.sqlite").exists():
            now = [entry.record for entry in place.entries()]
            assert now[: len(kept)] == kept, "something kept was lost or changed"
            kept = now
    status, out, err = place.harness("run", "plan.yaml", "--plain")
    assert status == 0, out + err

    with Place(tmp_path_factory.mktemp("undisturbed")) as other:
        small(other)
        assert other.harness("run", "plan.yaml")[0] == 0
        for mine, its in zip(promised(place), promised(other), strict=True):
            assert mine == its
    records = [entry.record for entry in place.entries()]
    assert records[: len(kept)] == kept
    started = [(x.cell, x.attempt) for x in records if isinstance(x, r.PassStarted)]
    judged = {(x.cell, x.attempt): x for x in records if isinstance(x, r.PassJudged)}
    assert len(set(started)) == len(started) == len(judged)
    verdicts = Counter(each.verdict for each in judged.values())
    assert set(verdicts) <= {Verdict.KEPT, Verdict.INTERRUPTED}
    assert verdicts[Verdict.KEPT] == 2 * KEEP
    assert verdicts[Verdict.INTERRUPTED] >= 5, "the kills hardly ever met a pass"
    captures = sorted(place.captures(), key=lambda each: each[1])
    for (pid, _, end), (_, start, _) in pairwise(captures):
        assert not alive(pid)
        assert end is None or end < start, "two captures ran at the same time"
    assert place.json("verify")["ok"] is True
    assert place.json("status")["holds"] == []


def test_a_runner_that_stood_still_for_a_while_goes_on_and_keeps_its_passes(place: Place) -> None:
    small(place, keep=4)
    runner = place.start("run", "plan.yaml")
    _until_captures(place, runner, 2)
    os.kill(runner.pid, signal.SIGSTOP)
    time.sleep(1.0)
    os.kill(runner.pid, signal.SIGCONT)
    out, err = runner.communicate(timeout=60)
    assert runner.returncode == 0, out + err
    records = [entry.record for entry in place.entries()]
    lengths = [x.end.wall_s for x in records if isinstance(x, r.PassEnded) and x.end is not None]
    assert all(0.0 < each < 10.0 for each in lengths)
    # Nothing tells it from a slow machine: no clock stood still, and none jumped.
    assert not [x for x in records if isinstance(x, r.ClockJumped)]
    assert {x.verdict for x in records if isinstance(x, r.PassJudged)} == {Verdict.KEPT}


def test_a_title_that_stood_still_shows_it_in_its_own_frames(place: Place) -> None:
    small(place, keep=4)
    path = place.folder / "plan.yaml"
    path.write_text(path.read_text().replace('"10"', '"60"'))
    runner = place.start("run", "plan.yaml")
    _until_captures(place, runner, 1)
    title = place.captures()[-1][0]
    os.kill(title, signal.SIGSTOP)
    time.sleep(1.0)
    os.kill(title, signal.SIGCONT)
    out, err = runner.communicate(timeout=60)
    assert runner.returncode == 0, out + err
    ended = [x.record for x in place.entries() if isinstance(x.record, r.PassEnded)]
    longest = {
        figure.value
        for figure in ended[0].figures
        if figure.name == "longest_frame_ms" and figure.value is not None
    }
    assert max(longest) > 800.0
    assert ended[0].end is not None
    assert ended[0].end.wall_s > 1.0


def _until_captures(place: Place, runner: subprocess.Popen[str], count: int) -> None:
    deadline = time.monotonic() + 30
    while not place.log.exists() or len(place.captures()) < count:
        assert time.monotonic() < deadline
        assert runner.poll() is None
        time.sleep(0.002)
