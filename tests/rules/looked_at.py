"""Passes with looks of a known cost: frames with long tails, hitches and a slow change."""

from __future__ import annotations

import random
from dataclasses import dataclass

from harness.rig.captures.assembly import frame_times
from harness.rig.captures.times import FrameTimes
from harness.rig.tasks import Sampling

STARTED_S = 1000.0


@dataclass(frozen=True, kw_only=True)
class LookedAt:
    times: FrameTimes
    sampling: Sampling
    wall_s: float


def looked_at(
    seed: int,
    *,
    cost_ms: float = 0.0,
    seconds: float = 20.0,
    frame_ms: float = 4.0,
    noise_ms: float = 0.1,
    hitches: float = 0.002,
    begins_s: float = 0.2,
    gap_ms: float = 0.0,
    clock: bool = True,
    each: int = 1,
) -> LookedAt:
    """Return a pass; every look makes the frame it falls into longer by *cost_ms*.

    Args:
        seed: Of chance.
        cost_ms: What each look costs.
        seconds: How long the frames last.
        frame_ms: A frame at the beginning; at the end it takes a fifth more.
        noise_ms: Standard deviation of a frame.
        hitches: Share of frames that take 8 ms more, on average.
        begins_s: The first frame begins at most so long after the command.
        gap_ms: Time between two frames that the capture does not hold.
        clock: Whether the capture holds clock values of the machine.
        each: Only each so many-th look costs, and then as much more.
    """
    chance = random.Random(seed)
    first_s = now_s = STARTED_S + begins_s * chance.uniform(0.3, 1.0)
    looks: list[tuple[float, float]] = []
    frames: list[float] = []
    due_s = STARTED_S
    while now_s - first_s < seconds:
        frame = frame_ms * (1.0 + 0.2 * (now_s - first_s) / seconds) + chance.gauss(0.0, noise_ms)
        if chance.random() < hitches:
            frame += chance.expovariate(1.0 / 8.0)
        frame = max(frame, 0.2 * frame_ms)
        while due_s < now_s + frame / 1000.0:
            if due_s >= now_s and len(looks) % each == 0:
                frame += cost_ms * each
            looks.append((due_s, due_s + 0.0004))
            due_s = STARTED_S + len(looks) + chance.uniform(0.0, 0.0002)
        frames.append(frame)
        now_s += (frame + gap_ms) / 1000.0
    times = frame_times(frames)
    times.began_ms = 1000.0 * first_s if clock else None
    sampling = Sampling(started_s=STARTED_S, interval_s=1.0, looks=tuple(looks))
    return LookedAt(times=times, sampling=sampling, wall_s=now_s - STARTED_S + 0.1)
