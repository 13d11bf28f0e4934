"""The plan of a simulated night, drawn from its seed.

Pure; chance is handed in.
"""

from __future__ import annotations

import dataclasses
import random

from harness.plan import document as d


def random_plan(rng: random.Random, *, cells: int | None = None) -> d.Plan:
    """Return a plan of about *cells* cells, or of a few."""
    if cells is not None:
        settings, titles, levels = 3, max(1, cells // 6), 2
    else:
        settings, titles, levels = rng.randint(1, 2), rng.randint(1, 3), rng.randint(1, 2)
    keep = rng.randint(1, 4)
    conditions = [
        d.Condition(
            name="power",
            by=d.By.COMMAND,
            changes=("gpu.power.limit",),
            levels=tuple(
                d.Level(
                    name=f"level-{n}",
                    command=d.Command(argv=("set-power", str(n)), time_limit_s=30.0),
                    put_back=d.Command(argv=("set-power", "0"), time_limit_s=30.0) if n else None,
                    expect=(d.Bound(reading="gpu.power.limit", unit="W", equals=200.0 + n),),
                )
                for n in range(levels)
            ),
        )
    ]
    if cells is None and rng.random() < 0.4:
        conditions.append(
            d.Condition(
                name="slot",
                by=d.By.OPERATOR,
                reboot=False,
                changes=("gpu.link.width",),
                levels=tuple(d.Level(name=n, say=f"Card in slot {n}.") for n in ("one", "two")),
            )
        )
    then = rng.choice(list(d.Then))
    gate = d.Gate(
        bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=rng.uniform(38, 60)),
        for_s=5.0,
        give_up_s=rng.uniform(30, 900),
        then=then,
    )
    at_most = keep + rng.randint(0, 4)
    return d.Plan(
        name="simulated",
        settings=tuple(d.Setting(name=f"s{n}", values=()) for n in range(settings)),
        titles=tuple(
            d.Title(
                title=f"Title {n}",
                scene="loop",
                settings=tuple(f"s{m}" for m in range(settings)),
                command=d.Command(argv=("title",), time_limit_s=120.0),
                cut=d.Cut(length_s=20.0),
            )
            for n in range(titles)
        ),
        conditions=tuple(conditions),
        passes=d.Passes(
            warm_up=d.WarmUp(passes=rng.randint(0, 2)),
            keep=keep,
            at_most=at_most,
            look_first=rng.random() < 0.5,
        ),
        gates=(gate,),
        limits=(d.Limit(bound=d.Bound(reading="gpu.temperature", unit="°C", at_most=95.0)),),
        reference=_reference(rng) if cells is None else None,
        discard=(d.DiscardRule(rule="spread", on="average_fps", more_than=0.1),),
        order=d.Order(
            by=rng.choice(list(d.OrderBy)), visits=rng.randint(1, 2) if cells is None else 1
        ),
        faults=d.Faults(
            again=rng.randint(0, 2),
            then=rng.choice(list(d.FaultThen)) if cells is None else d.FaultThen.NEXT_CELL,
            stop_after=rng.randint(2, 4),
        ),
    )


def _reference(rng: random.Random) -> d.Reference | None:
    if rng.random() < 0.6:
        return None
    every = rng.choice([None, 300.0, 3600.0])
    return d.Reference(title="Title 0", scene="loop", setting="s0", every_s=every)


def warmer(plan: d.Plan, rng: random.Random) -> d.Plan:
    """Return *plan* with a band to preload into, a low limit, a warm-up until steady, or not."""
    if rng.random() < 0.3:
        (gate,) = plan.gates
        low = rng.uniform(40, 58)
        bound = dataclasses.replace(gate.bound, at_least=low, at_most=low + rng.uniform(8, 20))
        gate = dataclasses.replace(gate, bound=bound, for_s=rng.choice([0.0, 5.0]), preload=True)
        plan = dataclasses.replace(plan, gates=(gate,))
    if rng.random() < 0.2:
        (limit,) = plan.limits or ()
        bound = dataclasses.replace(limit.bound, at_most=rng.uniform(71, 85))
        plan = dataclasses.replace(plan, limits=(d.Limit(bound=bound),))
    if rng.random() < 0.3:
        warm_up = d.WarmUp(within=rng.choice([0.003, 0.01]), at_most=rng.randint(2, 4))
        passes = dataclasses.replace(plan.passes, warm_up=warm_up)
        plan = dataclasses.replace(plan, passes=passes)
    return plan


def fuller(plan: d.Plan, rng: random.Random) -> d.Plan:
    """Return *plan* with passes sized by a pilot, earlier cells to be taken, an opened case."""
    if rng.random() < 0.25:
        enough = d.Enough(half_width=rng.choice([0.002, 0.01, 0.05]))
        plan = dataclasses.replace(plan, enough=enough)
    if rng.random() < 0.25:
        check = plan.reference is not None and rng.random() < 0.6
        reuse = d.Reuse(within_s=30 * 86400.0, same=("os.build",), check_reference=check)
        plan = dataclasses.replace(plan, reuse=reuse)
    if rng.random() < 0.5:
        plan = dataclasses.replace(
            plan,
            conditions=tuple(
                dataclasses.replace(each, opens_case=each.by is d.By.OPERATOR)
                for each in plan.conditions
            ),
        )
    return plan
